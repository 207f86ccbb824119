// The bench book the window's runs are kept in: opened with the coil, added to after each sweep.
#include <fmt/format.h>

#include <algorithm>
#include <type_traits>

#include "gui/app.hpp"

namespace coldtune::gui {

namespace {

constexpr const char* kNoRecording = "the last reading while following has no recording; a sweep has";

}  // namespace

void App::ask_book(decltype(BookWork::what) what) {
    if (state_.book.path.empty()) return;
    ++state_.book.pending;
    keeper_.ask({state_.book.path, std::move(what)});
}

// Another file, another book.
void App::follow_book() {
    if (state_folder_.empty()) return;
    const std::string path = book_path(state_.coil_path, state_folder_).string();
    if (path == state_.book.path) return;
    state_.book.path = path;
    state_.book.complaint.clear();
    state_.book.opening = true;
    state_.runs.clear();
    state_.deleted_runs.clear();
    state_.standards.clear();
    unkept_.clear();
    winding_open_.reset();
    state_.selected_run = -1;
    state_.compare_run.reset();
    state_.budget_open = false;
    state_.next_run = 1;
    content_changed();
    compare_again();
    OpenBook opening;
    if (const auto& settings = state_.bench_reading.settings) opening.bench = settings->bench;
    opening.forgotten = state_.forgotten_standards;
    ask_book(std::move(opening));
}

// The description has another name now: its runs go with it, unless runs are there under that name already.
void App::take_runs_along(bool was_unnamed) {
    if (state_folder_.empty()) return;
    const std::string path = book_path(state_.coil_path, state_folder_).string();
    if (path == state_.book.path) return;
    if (book::is_book(path)) return follow_book();
    ask_book(CopyBook{path, was_unnamed});
    state_.book.path = path;
}

void App::keep(Run& run, const SweepReport& report) {
    if (state_.book.path.empty()) return;
    if (!report.capture || !job_) {
        run.unkept = kNoRecording;
        return;
    }
    KeepRun work;
    work.id = run.id;
    work.hookup = report.hookup;
    work.capture = job_->winding_open ? job_->winding_open : report.capture;
    if (job_->winding_open) work.shorted = report.capture;
    work.standards = job_->standards;
    work.bench = job_->settings.bench;
    work.coupled = job_->settings.coupled;
    if (job_->description) {
        // As it stood; nothing of it can be changed under a sweep.
        CoilForm stood = state_.coil;
        if (job_->description->topload.empty()) stood.topload_shapes.clear();
        work.coil = to_json(stood);
    }
    ask_book(std::move(work));
}

void App::opened(OpenedReport& report) {
    state_.runs = std::move(report.runs);
    state_.standards = std::move(report.standards);
    state_.next_run = std::max(state_.next_run, report.last_number + 1);
    if (!report.notice.empty()) state_.book.complaint = std::move(report.notice);
    if (state_.runs.empty()) return;
    state_.selected_run = state_.runs.back().id;
    const bool series = state_.runs.back().result.hookup == bench::Hookup::foot;
    act_on_plot(action(Do::plot_pair, static_cast<double>(series ? PlotPair::admittance : PlotPair::impedance)));
    content_changed();
    show_near();
    compare_again();
}

void App::take(BookReport& report) {
    state_.book.pending =
        std::max(0, state_.book.pending - (std::holds_alternative<NoteRun>(report.work.what) ? 0 : 1));
    const bool here = report.work.book == state_.book.path;
    const bool failed = !report.complaint.empty();
    if (failed && (here || std::holds_alternative<CopyBook>(report.work.what)))
        state_.book.complaint = report.complaint;
    const auto find = [&](auto matches) { return std::find_if(state_.runs.begin(), state_.runs.end(), matches); };
    if (std::holds_alternative<OpenBook>(report.work.what)) {
        if (!here) return;
        state_.book.opening = false;
        if (auto* what = std::get_if<OpenedReport>(&report.outcome)) opened(*what);
    } else if (auto* run = std::get_if<KeepRun>(&report.work.what)) {
        // One that was deleted before it was there.
        const bool deleted = std::any_of(state_.deleted_runs.begin(), state_.deleted_runs.end(),
                                         [&](const Run& r) { return r.id == run->id; });
        auto& list = deleted ? state_.deleted_runs : state_.runs;
        const auto at = std::find_if(list.begin(), list.end(), [&](const Run& r) { return r.id == run->id; });
        if (at == list.end()) return;
        if (failed) {
            at->unkept = report.complaint;
            at->has_recording = true;
            unkept_[at->id] = std::move(*run);
            return;
        }
        at->number = std::get<KeptReport>(report.outcome).number;
        const std::string name = fmt::format("Run {}", at->number);
        if (at->name != name) {
            // Another window has given that number meanwhile.
            state_.next_run = std::max(state_.next_run, at->number + 1);
            const auto rename = [&](Evidence& e) {
                if (!e.is_file() && e.written == at->written) e.name = name;
            };
            for (auto& [key, evidence] : state_.tuning.form.places) rename(evidence);
            for (TapPlace& tap : state_.tuning.form.taps) rename(tap.evidence);
            at->name = name;
            retune();
        }
        if (deleted) {
            ask_book(RemoveRun{at->number});
        } else if (at->note != run->note) {
            keeper_.note(state_.book.path, at->number, at->note);
        }
    } else if (auto* standard = std::get_if<KeepStandard>(&report.work.what)) {
        const auto* kept = std::get_if<StandardReport>(&report.outcome);
        if (kept == nullptr) return;
        const auto taken = state_.standards.find(standard->hookup);
        if (taken != state_.standards.end() && taken->second.file == standard->capture) {
            taken->second.kept_sha256 = kept->sha256;
        } else {
            state_.forgotten_standards.push_back(kept->sha256);
        }
    } else if (const auto* curve = std::get_if<LoadCurve>(&report.work.what)) {
        auto* curves = std::get_if<CurveReport>(&report.outcome);
        const auto at = find([&](const Run& r) { return here && r.number == curve->number; });
        if (curves == nullptr || at == state_.runs.end()) return;
        at->measured = std::move(curves->measured);
        at->fitted = std::move(curves->fitted);
        content_changed();
        if (at->id == state_.selected_run && state_.view.follows_data) show_near();
    }
}

// Curves of earlier sessions are read when somebody wants to see them.
void App::want_curves() {
    for (Run& run : state_.runs) {
        if (run.id == state_.selected_run && run.number > 0 && !run.measured) run.shown = true;
        if (!run.shown || run.measured || run.number == 0 || run.curve_asked) continue;
        run.curve_asked = true;
        ask_book(LoadCurve{run.number});
    }
}

void App::delete_run(std::vector<Run>::iterator at) {
    if (at->number > 0) ask_book(RemoveRun{at->number});
    state_.deleted_runs.push_back(std::move(*at));
    state_.runs.erase(at);
}

void App::undo_delete() {
    if (state_.deleted_runs.empty()) return;
    Run run = std::move(state_.deleted_runs.back());
    state_.deleted_runs.pop_back();
    if (run.number > 0) ask_book(PutBackRun{run.number});
    state_.selected_run = run.id;
    const auto after =
        std::find_if(state_.runs.begin(), state_.runs.end(), [&](const Run& r) { return r.id > run.id; });
    state_.runs.insert(after, std::move(run));
    want_curves();
    content_changed();
    compare_again();
}

}  // namespace coldtune::gui
