#include "gui/run_keeper.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <ctime>
#include <nlohmann/json.hpp>
#include <utility>

#include "analyzer/book/kept_files.hpp"
#include "analyzer/book/runs.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/utc_time.hpp"

namespace coldtune::gui {
namespace {

namespace fs = std::filesystem;
using bench::Hookup;

constexpr std::chrono::milliseconds kNoteRest{1500};
// Another window or a command holds a book only while it writes.
constexpr std::chrono::seconds kLockPatience{10};

Clock::time_point from_utc(const std::string& text) {
    std::tm parts{};
    if (!record::is_utc_time(text) || strptime(text.c_str(), "%Y-%m-%dT%H:%M:%SZ", &parts) == nullptr) return {};
    return Clock::from_time_t(timegm(&parts));
}

constexpr const char* kUnnamedBook = "unnamed-coil-book.json";

Result<book::BookFile> open_for_writing(const fs::path& path, bool create) {
    // Our own folder is made; one that a coil's file lay in is not made up anew when it is gone.
    std::error_code refused;
    if (create && path.filename() == kUnnamedBook) fs::create_directories(path.parent_path(), refused);
    const auto begun = std::chrono::steady_clock::now();
    while (true) {
        auto file = create ? book::BookFile::open_or_create(path) : book::BookFile::open(path);
        const auto places = book::places_of(path);
        std::error_code ignored;
        if (file || !places || !fs::exists(places->lock, ignored)) return file;
        if (std::chrono::steady_clock::now() - begun > kLockPatience) return file;
        std::this_thread::sleep_for(std::chrono::milliseconds(100));
    }
}

void give_curves(measure::MeasurementResult whole, CurveReport& into) {
    if (const auto fitted = measure::fitted_curve(whole)) into.fitted = std::make_shared<measure::Curve>(*fitted);
    into.measured = std::make_shared<measure::Curve>(std::move(whole.curve));
}

Result<Run> run_from(const book::Book& book, const book::Run& kept) {
    auto values = book::kept_values(kept);
    if (!values) return values.error();
    Run run;
    run.id = run.number = kept.number;
    run.name = fmt::format("Run {}", kept.number);
    if (!kept.notes.empty()) run.note = kept.notes.back().text;
    run.result = std::move(*values);
    run.written = record::json_text(*kept.result);
    run.time = from_utc(kept.time_utc);
    if (const book::KeptCapture* capture = book.find_capture(kept.capture)) run.device = capture->device;
    if (run.result.description) run.coil_name = run.result.description->name;
    const std::pair<const std::string*, const char*> standards[] = {
        {&kept.standards.open, "open"}, {&kept.standards.short_circuit, "short"}, {&kept.standards.load, "load"}};
    for (const auto& [file, name] : standards) {
        if (!file->empty()) run.standards += (run.standards.empty() ? "" : ", ") + std::string(name);
    }
    run.shown = false;
    return run;
}

// The last that was taken of a kind; none if just that was forgotten.
const book::KeptCapture* last_standard(const book::Book& book, Hookup which,
                                       const std::vector<std::string>& not_these) {
    const book::KeptCapture* last = nullptr;
    for (const book::KeptCapture& c : book.captures) {
        if (c.hookup == bench::describe(which).name && (last == nullptr || c.recorded_utc >= last->recorded_utc)) {
            last = &c;
        }
    }
    const bool forgotten =
        last != nullptr && std::find(not_these.begin(), not_these.end(), last->kept.sha256) != not_these.end();
    return forgotten ? nullptr : last;
}

std::optional<StandardTaken> standard_from(const book::Places& places, const book::KeptCapture& kept, Hookup which,
                                           const dsp::BenchValues& bench) {
    auto file = book::read_kept_capture(places, kept);
    // With one input a standard serves the stream it was recorded in, which is over.
    if (!file || !file->note || !file->note->held_stream.empty()) return std::nullopt;
    measure::AnalysisRequest request;
    request.hookup = which;
    request.coil = *file;
    request.bench = bench;
    if (file->note->reference_ohm > 0) request.bench.reference_ohm = file->note->reference_ohm;
    auto result = measure::analyze(request);
    if (!result || result->verdict() == measure::Verdict::rejected) return std::nullopt;
    result->curve = {};
    StandardTaken taken;
    taken.time = from_utc(kept.recorded_utc);
    taken.device = kept.device;
    taken.sample_rate_hz = kept.sample_rate_hz;
    taken.reference_ohm = request.bench.reference_ohm;
    taken.kept_sha256 = kept.kept.sha256;
    taken.returned = true;
    taken.result = std::move(*result);
    taken.file = std::make_shared<audio::CaptureFile>(std::move(*file));
    return taken;
}

// A description as a file, while it is needed.
class CoilFile {
public:
    explicit CoilFile(const std::string& text) {
        if (text.empty()) return;
        std::error_code ignored;
        path_ = fs::temp_directory_path(ignored) / fmt::format("coldtune-coil-{}.json", getpid());
        status_ = record::write_file_atomically(path_, text);
    }
    ~CoilFile() {
        std::error_code ignored;
        if (!path_.empty()) fs::remove(path_, ignored);
    }
    CoilFile(const CoilFile&) = delete;
    CoilFile& operator=(const CoilFile&) = delete;
    [[nodiscard]] const fs::path& path() const { return path_; }
    [[nodiscard]] const Status& status() const { return status_; }

private:
    fs::path path_;
    Status status_ = Done{};
};

}  // namespace

fs::path book_path(const std::string& coil_path, const fs::path& state_folder) {
    if (coil_path.empty()) return state_folder / kUnnamedBook;
    const fs::path coil(coil_path);
    return coil.parent_path() / (coil.stem().string() + "-book.json");
}

RunKeeper::RunKeeper(std::function<void()> wake)
    : wake_(std::move(wake)), thread_([this](const std::stop_token& quit) { loop(quit); }) {}

RunKeeper::~RunKeeper() = default;

void RunKeeper::ask(BookWork work) {
    const std::scoped_lock lock(mutex_);
    waiting_.push_back(std::move(work));
    changed_.notify_all();
}

void RunKeeper::note(const fs::path& book, int number, std::string text) {
    const std::scoped_lock lock(mutex_);
    notes_[{book, number}] = {std::move(text), Steady::now() + kNoteRest};
    changed_.notify_all();
}

std::vector<BookReport> RunKeeper::take_reports() {
    const std::scoped_lock lock(mutex_);
    return std::exchange(reports_, {});
}

void RunKeeper::loop(const std::stop_token& quit) {
    while (true) {
        BookWork work;
        {
            std::unique_lock lock(mutex_);
            const auto due_note = [&] {
                return std::find_if(notes_.begin(), notes_.end(), [&](const auto& entry) {
                    return entry.second.due <= Steady::now() || quit.stop_requested();
                });
            };
            const auto ready = [&] { return !waiting_.empty() || due_note() != notes_.end(); };
            if (!ready() && quit.stop_requested()) return;
            if (notes_.empty()) {
                changed_.wait(lock, quit, [&] { return !waiting_.empty() || !notes_.empty(); });
            } else {
                changed_.wait_for(lock, quit, kNoteRest, ready);
            }
            if (const auto note = due_note(); note != notes_.end()) {
                work = {note->first.first, NoteRun{note->first.second, std::move(note->second.text)}};
                notes_.erase(note);
            } else if (!waiting_.empty()) {
                work = std::move(waiting_.front());
                waiting_.pop_front();
            } else {
                continue;
            }
        }
        BookReport done;
        if (auto outcome = carry_out(work)) {
            done.outcome = std::move(*outcome);
        } else {
            done.complaint = outcome.error().message;
        }
        done.work = std::move(work);
        {
            const std::scoped_lock lock(mutex_);
            reports_.push_back(std::move(done));
        }
        if (wake_) wake_();
    }
}

RunKeeper::Outcome RunKeeper::carry_out(const BookWork& work) {
    if (const auto* opening = std::get_if<OpenBook>(&work.what)) return open(work.book, *opening);
    if (const auto* run = std::get_if<KeepRun>(&work.what)) return keep(work.book, *run);
    if (const auto* standard = std::get_if<KeepStandard>(&work.what)) return keep(work.book, *standard);
    if (const auto* curve = std::get_if<LoadCurve>(&work.what)) return load(work.book, *curve);
    if (const auto* other = std::get_if<CopyBook>(&work.what)) return copy(work.book, *other);
    return change(work);
}

RunKeeper::Outcome RunKeeper::open(const fs::path& path, const OpenBook& work) {
    OpenedReport report;
    names_.clear();
    names_of_ = path;
    const auto places = book::places_of(path);
    if (!places) return places.error();
    std::error_code ignored;
    if (!fs::exists(places->book, ignored) && !fs::exists(places->saves, ignored))
        return BookOutcome(std::move(report));
    auto opened = book::read_book(*places);
    if (!opened) return opened.error();
    const book::Book& book = opened->book;
    if (opened->recovery) report.notice = book::recovery_sentence(*opened, *places);
    report.last_number = book.last_run_number;
    for (const book::Run& kept : book.runs) {
        if (auto run = run_from(book, kept)) {
            report.runs.push_back(std::move(*run));
        } else {
            report.notice = run.error().message;
        }
    }
    if (!report.runs.empty()) {
        Run& last = report.runs.back();
        last.shown = true;
        CurveReport curves;
        if (auto whole = book::kept_result(*places, *book.find_run(last.number))) {
            give_curves(std::move(*whole), curves);
            last.measured = std::move(curves.measured);
            last.fitted = std::move(curves.fitted);
        } else {
            report.notice = whole.error().message;
        }
    }
    for (const Hookup which : {Hookup::open, Hookup::short_circuit, Hookup::load}) {
        const book::KeptCapture* kept = last_standard(book, which, work.forgotten);
        if (kept == nullptr) continue;
        if (auto taken = standard_from(*places, *kept, which, work.bench)) {
            names_[taken->file] = kept->kept.file;
            report.standards[which] = std::move(*taken);
        }
    }
    return BookOutcome(std::move(report));
}

Result<std::string> RunKeeper::kept_name(book::BookFile& file, const Capture& capture, Hookup hookup) {
    if (names_of_ != file.places().book) {
        names_.clear();
        names_of_ = file.places().book;
    }
    if (const auto known = names_.find(capture); known != names_.end() && file.book().find_capture(known->second)) {
        return known->second;
    }
    auto kept =
        book::keep_recording(file.book(), file.places(), *capture, bench::describe(hookup).name, book::KeepAs::flac);
    if (!kept) return kept.error();
    const std::string name = kept->capture.kept.file;
    if (kept->fresh) file.book().captures.push_back(std::move(kept->capture));
    names_[capture] = name;
    return name;
}

RunKeeper::Outcome RunKeeper::keep(const fs::path& path, const KeepRun& work) {
    auto file = open_for_writing(path, true);
    if (!file) return file.error();
    const fs::path captures = file->places().captures;
    book::NewRun run;
    run.hookup = work.hookup;
    run.bench = work.bench;
    run.coupled = work.coupled;
    run.note = work.note;
    const auto bring = [&](const Capture& capture, Hookup hookup, fs::path& into) -> Status {
        auto name = kept_name(*file, capture, hookup);
        if (!name) return name.error();
        into = captures / *name;
        return Done{};
    };
    fs::path swept;
    if (Status kept = bring(work.capture, work.hookup, swept); !kept) return kept.error();
    run.capture = swept;
    if (work.shorted) {
        if (Status kept = bring(work.shorted, work.hookup, run.shorted); !kept) return kept.error();
    }
    const std::pair<Hookup, fs::path*> standards[] = {
        {Hookup::open, &run.open}, {Hookup::short_circuit, &run.short_circuit}, {Hookup::load, &run.load}};
    for (const auto& [which, into] : standards) {
        const auto taken = work.standards.find(which);
        if (taken == work.standards.end()) continue;
        if (Status kept = bring(taken->second, which, *into); !kept) return kept.error();
    }
    const CoilFile coil(work.coil);
    if (!coil.status()) return coil.status().error();
    run.coil = coil.path();
    // The number is the window's, unless another window has given it meanwhile.
    file->book().last_run_number = std::max(file->book().last_run_number, work.id - 1);
    run.name = fmt::format("Run {}", file->book().last_run_number + 1);
    auto added = book::add_run(*file, std::move(run));
    if (!added) return added.error();
    if (Status saved = file->save(); !saved) return saved.error();
    return BookOutcome(KeptReport{added->number});
}

RunKeeper::Outcome RunKeeper::keep(const fs::path& path, const KeepStandard& work) {
    auto file = open_for_writing(path, true);
    if (!file) return file.error();
    const auto name = kept_name(*file, work.capture, work.hookup);
    if (!name) return name.error();
    if (Status saved = file->save(); !saved) return saved.error();
    return BookOutcome(StandardReport{file->book().find_capture(*name)->kept.sha256});
}

RunKeeper::Outcome RunKeeper::load(const fs::path& path, const LoadCurve& work) {
    const auto places = book::places_of(path);
    if (!places) return places.error();
    const auto opened = book::read_book(*places);
    if (!opened) return opened.error();
    const book::Run* kept = opened->book.find_run(work.number);
    if (kept == nullptr) return bad_input(fmt::format("run {} is no longer in {}", work.number, places->name()));
    auto whole = book::kept_result(*places, *kept);
    if (!whole) return whole.error();
    CurveReport curves;
    give_curves(std::move(*whole), curves);
    return BookOutcome(std::move(curves));
}

RunKeeper::Outcome RunKeeper::copy(const fs::path& path, const CopyBook& work) {
    const auto from = book::places_of(path);
    if (!from) return from.error();
    std::error_code ignored;
    if (!fs::exists(from->book, ignored)) return BookOutcome();
    {
        auto file = open_for_writing(path, false);
        if (!file) return file.error();
        if (const auto copied = file->save_as(work.to); !copied) return copied.error();
    }
    if (work.remove_from) {
        for (const fs::path& part : {from->book, from->captures, from->saves}) fs::remove_all(part, ignored);
    }
    return BookOutcome();
}

RunKeeper::Outcome RunKeeper::change(const BookWork& work) {
    auto file = open_for_writing(work.book, false);
    if (!file) return file.error();
    auto& runs = file->book().runs;
    const auto number_is = [](int number) { return [number](const book::Run& r) { return r.number == number; }; };
    if (const auto* remove = std::get_if<RemoveRun>(&work.what)) {
        const auto at = std::find_if(runs.begin(), runs.end(), number_is(remove->number));
        if (at == runs.end()) return BookOutcome();
        removed_[{work.book, remove->number}] = std::move(*at);
        runs.erase(at);
    } else if (const auto* back = std::get_if<PutBackRun>(&work.what)) {
        const auto known = removed_.find({work.book, back->number});
        if (known == removed_.end()) return BookOutcome();
        // In the order of their numbers, as they were.
        const auto at =
            std::find_if(runs.begin(), runs.end(), [&](const book::Run& r) { return r.number > back->number; });
        runs.insert(at, std::move(known->second));
        removed_.erase(known);
    } else if (const auto* note = std::get_if<NoteRun>(&work.what)) {
        const auto at = std::find_if(runs.begin(), runs.end(), number_is(note->number));
        if (at == runs.end()) return BookOutcome();
        // The window shows and changes the last one.
        if (!at->notes.empty()) at->notes.pop_back();
        if (!note->text.empty()) {
            if (Status noted = book::add_note(file->book(), note->number, note->text); !noted) return noted.error();
        }
    }
    if (Status saved = file->save(); !saved) return saved.error();
    return BookOutcome();
}

}  // namespace coldtune::gui
