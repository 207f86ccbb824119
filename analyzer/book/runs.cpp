#include "analyzer/book/runs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "analyzer/book/difference.hpp"
#include "analyzer/book/outline.hpp"
#include "analyzer/book/seal.hpp"
#include "analyzer/measure/kept_result.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/sha256.hpp"
#include "analyzer/record/utc_time.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using record::Json;

constexpr std::size_t longest_coil_bytes = std::size_t{1} << 20;

// Everything kept for a run that is being made; taken back unless the run comes about.
class Keeper {
public:
    Keeper(Book& book, const Places& places, KeepAs as) : book_(book), places_(places), as_(as) {}
    ~Keeper() {
        if (settled_) return;
        for (const KeptFile& kept : fresh_) {
            remove_kept(places_, kept);
            std::erase_if(book_.captures, [&](const KeptCapture& c) { return c.kept.file == kept.file; });
        }
    }
    Keeper(const Keeper&) = delete;
    Keeper& operator=(const Keeper&) = delete;

    // The kept name, "" for an empty path.
    Result<std::string> keep(const fs::path& source, std::string_view hookup) {
        if (source.empty()) return std::string();
        auto kept = keep_capture(book_, places_, source, hookup, as_);
        if (!kept) return kept.error();
        return enter(*kept, true);
    }
    Result<std::string> keep(const audio::CaptureFile& recording, std::string_view hookup) {
        auto kept = keep_recording(book_, places_, recording, hookup, as_);
        if (!kept) return kept.error();
        recording_ = kept->capture.kept.file;
        return enter(*kept, false);
    }
    void settle() { settled_ = true; }
    [[nodiscard]] std::vector<std::string>& remarks() { return remarks_; }
    // Where a recording from memory lies, for a message about a run that did not come about.
    [[nodiscard]] const std::string& recording() const { return recording_; }

private:
    std::string enter(Kept& kept, bool exists_elsewhere) {
        std::string file = kept.capture.kept.file;
        if (!kept.remark.empty()) remarks_.push_back(std::move(kept.remark));
        if (!kept.fresh) return file;
        if (exists_elsewhere) fresh_.push_back(kept.capture.kept);
        book_.captures.push_back(std::move(kept.capture));
        return file;
    }

    Book& book_;
    const Places& places_;
    KeepAs as_;
    bool settled_ = false;
    std::vector<KeptFile> fresh_;
    std::vector<std::string> remarks_;
    std::string recording_;
};

// The version of the coil that says what `path` says, a new one if there is none yet.
Result<int> coil_version(Book& book, const fs::path& path) {
    if (path.empty()) return 0;
    const auto text = record::read_text(path, longest_coil_bytes);
    if (!text) return text.error();
    if (const auto sound = record::parse_coil(*text, path.string()); !sound) return sound.error();
    auto json = record::parse_json(*text, path.string());
    if (!json) return json.error();
    for (const CoilVersion& coil : book.coils) {
        if (!coil.altered && *coil.description == *json) return coil.number;
    }
    const int number = static_cast<int>(book.coils.size()) + 1;
    book.coils.push_back({number, record::utc_now(), std::make_shared<const Json>(std::move(*json))});
    book.coils.back().seal = seal_of(book.coils.back());
    return number;
}

int interface_for(Book& book, const std::string& device, const dsp::BenchValues& bench) {
    for (const Interface& i : book.interfaces) {
        if (!i.altered && i.device == device && i.input_resistance_ohm == bench.input_resistance_ohm &&
            i.input_capacitance_f == bench.input_capacitance_f) {
            return i.number;
        }
    }
    const int number = static_cast<int>(book.interfaces.size()) + 1;
    book.interfaces.push_back({number, device, bench.input_resistance_ohm, bench.input_capacitance_f});
    book.interfaces.back().seal = seal_of(book.interfaces.back());
    return number;
}

Error altered(const std::string& what) {
    return bad_input(what + ": was changed in the book after it was kept; coldtune book check says more");
}

Result<audio::CaptureFile> capture_named(const Book& book, const Places& places, const std::string& file) {
    const KeptCapture* capture = book.find_capture(file);
    if (capture == nullptr) return bad_input(fmt::format("{}: is not among the captures of the book", file));
    if (capture->altered) return altered(file);
    return read_kept_capture(places, *capture);
}

std::optional<double> number_at(const Json& object, const char* key) {
    if (!object.is_object()) return std::nullopt;
    const auto found = object.find(key);
    return found != object.end() && found->is_number() ? std::optional(found->get<double>()) : std::nullopt;
}

bool only_digits(std::string_view text) {
    return !text.empty() && text.find_first_not_of("0123456789") == std::string_view::npos;
}

// Text that is kept as it is or not at all.
Status check_line(std::string_view what, std::string_view text) {
    // Whatever becomes a question mark there, and the one that stands for bytes that are no character.
    if (record::one_line(text, text.size()) == text) return Done{};
    const std::u32string points = record::decode_utf8(text);
    if (record::encode_utf8(points) != text) {
        return usage_error(fmt::format("the {} is not valid UTF-8 text; write it again", what));
    }
    return usage_error(fmt::format("the {} holds control characters; write it on one line", what));
}

// Everything of a run but its number and what comes out of the analysis.
Result<Run> describe_run(Book& book, Keeper& keeper, const NewRun& from) {
    Run run;
    run.hookup = from.hookup;
    const std::string_view hookup = bench::describe(from.hookup).name;
    const auto capture = std::visit([&](const auto& c) { return keeper.keep(c, hookup); }, from.capture);
    if (!capture) return capture.error();
    run.capture = *capture;
    const std::pair<const fs::path*, std::pair<const char*, std::string*>> others[] = {
        {&from.open, {"open", &run.standards.open}},
        {&from.short_circuit, {"short", &run.standards.short_circuit}},
        {&from.load, {"load", &run.standards.load}},
        {&from.shorted, {"winding", &run.standards.shorted}}};
    for (const auto& [path, into] : others) {
        auto kept = keeper.keep(*path, into.first);
        if (!kept) return kept.error();
        *into.second = std::move(*kept);
    }
    auto coil = coil_version(book, from.coil);
    if (!coil) return coil.error();
    run.coil = *coil;
    run.interface_number = interface_for(book, book.find_capture(run.capture)->device, from.bench);
    run.settings.reference_ohm = from.bench.reference_ohm;
    run.settings.load_ohm = from.load.empty() ? 0 : from.bench.load_ohm;
    run.settings.tolerances = from.tolerances;
    run.settings.coupled = from.coupled;
    run.settings.period_frames = from.period_frames;
    run.settings.settle_periods = from.settle_periods;
    const std::string& origin = book.find_capture(run.capture)->origin;
    run.name = !from.name.empty() ? from.name : origin.empty() ? std::string(hookup) : fs::path(origin).stem().string();
    if (!check_name(run.name)) {
        // The file's name only: what a person asked for was looked at before.
        run.name = only_digits(run.name) ? fmt::format("{} {}", hookup, record::one_line(run.name, 40))
                                         : record::one_line(run.name, longest_name - 3);
        if (!check_name(run.name)) run.name = hookup;
        keeper.remarks().push_back(fmt::format("the run is called {}: the name of its file is no name for a run",
                                               record::in_quotes(run.name)));
    }
    return run;
}

Result<AddedRun> make_run(BookFile& file, Keeper& keeper, const NewRun& from) {
    Book& book = file.book();
    auto described = describe_run(book, keeper, from);
    if (!described) return described.error();
    Run run = std::move(*described);
    const auto request = request_of(book, file.places(), run);
    if (!request) return request.error();
    auto result = measure::analyze(*request);
    if (!result) return result.error();

    run.number = book.last_run_number + 1;
    run.time_utc = record::utc_now();
    run.program_version = COLDTUNE_VERSION;
    const std::string text = result_text(*result);
    // A name nobody has: an earlier run of this number may have been lost with a damaged book, its result must not be.
    std::string name = fmt::format("run-{:04}.json", run.number);
    std::error_code ignored;
    for (int i = 2; fs::exists(fs::symlink_status(file.places().captures / name, ignored)); ++i) {
        name = fmt::format("run-{:04}-{}.json", run.number, i);
    }
    auto kept = keep_text(file.places(), name, text);
    if (!kept) return kept.error();
    run.result_file = std::move(*kept);
    run.response = outline_of(*result);
    // As the text reads, so that what is in memory and what is read back later are the same.
    Json without_curve = Json::parse(record::json_text(measure::to_json(*result, false)));
    run.result = std::make_shared<const Json>(std::move(without_curve));
    run.seal = seal_of(run);
    AddedRun added;
    added.number = run.number;
    book.last_run_number = run.number;
    book.runs.push_back(std::move(run));
    if (!from.note.empty()) {
        if (Status noted = add_note(book, added.number, from.note); !noted) return noted.error();
    }
    added.result = std::move(*result);
    added.remarks = std::move(keeper.remarks());
    return added;
}

}  // namespace

Result<AddedRun> add_run(BookFile& file, NewRun run, fs::path* recording_in) {
    if (!run.name.empty()) {
        if (Status sound = check_name(run.name); !sound) return sound.error();
    }
    if (!run.note.empty()) {
        if (Status sound = check_note(run.note); !sound) return sound.error();
    }
    const Book before = file.book();
    std::string recording;
    auto added = [&] {
        Keeper keeper(file.book(), file.places(), run.keep_as);
        auto made = make_run(file, keeper, run);
        if (made) keeper.settle();
        recording = keeper.recording();
        return made;
    }();
    if (added) return added;
    file.book() = before;
    if (recording.empty()) return added.error();
    if (recording_in != nullptr) *recording_in = file.places().captures / recording;
    return Error{added.error().kind, fmt::format("{}; the recording is in {}/{}", added.error().message,
                                                 file.places().captures.string(), recording)};
}

Result<measure::AnalysisRequest> request_of(const Book& book, const Places& places, const Run& run) {
    measure::AnalysisRequest request;
    if (run.altered) return altered(fmt::format("run {}", run.number));
    request.hookup = run.hookup;
    auto capture = capture_named(book, places, run.capture);
    if (!capture) return capture.error();
    request.coil = std::move(*capture);
    const std::pair<const std::string*, std::optional<measure::Standard>*> standards[] = {
        {&run.standards.open, &request.open},
        {&run.standards.short_circuit, &request.short_circuit},
        {&run.standards.load, &request.load},
        {&run.standards.shorted, &request.shorted}};
    for (const auto& [file, into] : standards) {
        if (file->empty()) continue;
        auto standard = capture_named(book, places, *file);
        if (!standard) return standard.error();
        *into = measure::Standard{std::move(*standard), *file};
    }
    const Interface* interface = book.find_interface(run.interface_number);
    if (interface == nullptr) return bad_input(fmt::format("run {}: its interface is not in the book", run.number));
    if (interface->altered) return altered(fmt::format("run {}: its interface", run.number));
    request.bench = {run.settings.reference_ohm, interface->input_resistance_ohm, interface->input_capacitance_f,
                     run.settings.load_ohm};
    request.tolerances = run.settings.tolerances;
    request.coupled = run.settings.coupled;
    request.period_frames = run.settings.period_frames;
    request.settle_periods = run.settings.settle_periods;
    if (run.coil > 0) {
        auto description = description_of(book, run);
        if (!description) return description.error();
        request.description = std::move(*description);
    }
    return request;
}

std::string result_text(const measure::MeasurementResult& result) {
    return record::json_text(measure::to_json(result, true)) + "\n";
}

Result<std::string> stored_result(const Places& places, const Run& run) {
    if (run.altered) return altered(fmt::format("run {}", run.number));
    return read_kept_text(places, run.result_file);
}

Result<measure::MeasurementResult> kept_result(const Places& places, const Run& run) {
    const auto text = stored_result(places, run);
    if (!text) return text.error();
    const auto json = record::parse_json(*text, run.result_file.file, {longest_result_bytes, 32});
    if (!json) return json.error();
    return measure::result_from_json(*json, run.result_file.file);
}

Result<measure::MeasurementResult> kept_values(const Run& run) {
    if (run.altered) return altered(fmt::format("run {}", run.number));
    return measure::result_from_json(*run.result, fmt::format("run {}", run.number));
}

Result<model::CoilDescription> description_of(const Book& book, const Run& run) {
    if (run.coil == 0) return bad_input(fmt::format("run {} has no description of its coil", run.number));
    const CoilVersion* coil = book.find_coil(run.coil);
    if (coil == nullptr) return bad_input(fmt::format("run {}: its coil is not in the book", run.number));
    if (coil->altered) return altered(fmt::format("run {}: coil version {}", run.number, run.coil));
    return record::parse_coil(record::json_text(*coil->description, -1), fmt::format("coil version {}", run.coil));
}

Result<Again> analyse_again(const Book& book, const Places& places, const Run& run) {
    const auto request = request_of(book, places, run);
    if (!request) return request.error();
    const auto result = measure::analyze(*request);
    if (!result) return result.error();
    Json now = measure::to_json(*result, true);
    now["program_version"] = run.program_version;
    const bool same_text = record::sha256(record::json_text(now) + "\n") == run.result_file.sha256;
    Json now_without_curve = measure::to_json(*result, false);
    now_without_curve["program_version"] = run.program_version;
    Again again;
    if (const auto d = first_difference(*run.result, Json::parse(record::json_text(now_without_curve)), true)) {
        again.difference = fmt::format("{}: {} then, {} now", d->path, d->then, d->now);
    }
    again.same = same_text && again.difference.empty();
    if (!again.same && again.difference.empty()) again.difference = "the curve";
    return again;
}

Status check_name(std::string_view name) {
    if (name.empty()) return usage_error("the name is empty; write something or leave it out");
    if (Status sound = check_line("name", name); !sound) return sound;
    const std::size_t characters = record::decode_utf8(name).size();
    if (characters > longest_name) {
        return usage_error(fmt::format("the name is too long ({} characters, at most {})", characters, longest_name));
    }
    if (only_digits(name)) {
        return usage_error(
            fmt::format("the name {} would be taken for a run's number; add a word to it", record::in_quotes(name)));
    }
    return Done{};
}

Status check_note(std::string_view text) {
    if (text.empty()) return usage_error("the note is empty; write something");
    if (text.size() > longest_note) {
        return usage_error(fmt::format("the note is too long ({} bytes, at most {})", text.size(), longest_note));
    }
    return check_line("note", text);
}

Status add_note(Book& book, int run_number, std::string_view text) {
    if (Status sound = check_note(text); !sound) return sound;
    const auto run =
        std::find_if(book.runs.begin(), book.runs.end(), [&](const Run& r) { return r.number == run_number; });
    if (run == book.runs.end()) return usage_error(fmt::format("there is no run {}", run_number));
    run->notes.push_back({record::utc_now(), std::string(text)});
    return Done{};
}

Headline headline_of(const Run& run) {
    Headline headline;
    if (run.altered) {
        headline.verdict = "changed";
        return headline;
    }
    const auto part = [&](const char* key) {
        const auto found = run.result->find(key);
        return found != run.result->end() && found->is_object() ? *found : Json::object();
    };
    if (const auto verdict = run.result->find("verdict"); verdict != run.result->end() && verdict->is_string()) {
        headline.verdict = record::one_line(verdict->get<std::string>(), 20);
    }
    if (headline.verdict == "rejected") return headline;
    const Json resonance = part("resonance"), winding = part("winding"), pair = part("pair");
    headline.primary_hz = number_at(pair, "primary_frequency_hz");
    headline.primary_u95_hz = number_at(pair, "primary_frequency_u95_hz");
    headline.secondary_hz = number_at(pair, "secondary_frequency_hz");
    headline.secondary_u95_hz = number_at(pair, "secondary_frequency_u95_hz");
    headline.k = number_at(pair, "k");
    headline.k_u95 = number_at(pair, "k_u95");
    headline.resonance_hz = number_at(resonance, "frequency_hz");
    headline.resonance_u95_hz = number_at(resonance, "frequency_u95_hz");
    headline.q = number_at(resonance, "q");
    if (const auto way = resonance.find("way"); way != resonance.end() && way->is_string()) {
        headline.way = record::one_line(way->get<std::string>(), 20);
    }
    headline.inductance_h = number_at(winding, "inductance_h");
    headline.inductance_u95_h = number_at(winding, "inductance_u95_h");
    return headline;
}

}  // namespace coldtune::book
