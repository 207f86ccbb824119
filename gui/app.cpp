#include "gui/app.hpp"

#include <algorithm>

namespace coldtune::gui {

namespace {
constexpr double kUsualReference_ohm = 10e3;
}

App::App(PortFactory ports, const std::function<void()>& wake, std::filesystem::path pictures)
    : pictures_(std::move(pictures)), keeper_(wake), workers_(std::move(ports), wake) {
    set_document(new_document({}));
    state_.view.x.scale = Scale::linear;
    state_.view.y[0].scale = Scale::logarithmic;
    bench_changed();
    coil_changed();
}

void App::restore(const Remembered& r) {
    state_.bench = r.bench;
    state_.dark = r.dark;
    state_.text_scale = std::clamp(r.text_scale, 1.0, 2.5);
    state_.tuning.form = r.tuning;
    state_.forgotten_standards = r.forgotten_standards;
    set_document(r.document);
    bench_changed();
    coil_changed();
}

void App::act(const Action& a) {
    switch (a.what) {
        case Do::undo:
        case Do::redo:
        case Do::set_name:
        case Do::add_topload:
        case Do::remove_topload:
        case Do::set_part:
        case Do::open_coil:
        case Do::save_coil:
        case Do::save_anyway:
        case Do::read_theirs:
            return act_on_coil(a);
        case Do::set_field:
            if (a.key.starts_with("bench.")) return act_on_bench(a);
            if (a.key.starts_with("tuning.")) return act_on_tuning(a);
            return act_on_coil(a);
        case Do::sweep_or_stop:
        case Do::stop:
        case Do::follow_or_stop:
        case Do::listen_or_stop:
        case Do::set_device:
        case Do::set_rate:
        case Do::set_hookup:
        case Do::set_standing:
        case Do::set_output:
        case Do::set_generator_input:
        case Do::set_coil_input:
        case Do::list_devices:
        case Do::check_wiring:
        case Do::show_cautions:
        case Do::acknowledge_cautions:
        case Do::take_standard:
        case Do::drop_standard:
            return act_on_bench(a);
        case Do::select_run:
        case Do::toggle_run:
        case Do::compare_run:
        case Do::delete_run:
        case Do::undo_delete:
        case Do::keep_again:
        case Do::note_run:
        case Do::next_run:
        case Do::previous_run:
        case Do::toggle_budget:
            return act_on_runs(a);
        case Do::place_run:
        case Do::place_file:
        case Do::place_nothing:
        case Do::tap_stands_here:
        case Do::set_instead:
        case Do::measure_place:
        case Do::tap_moved:
        case Do::tuning_view:
        case Do::next_tuning_view:
            return act_on_tuning(a);
        case Do::plot_pair:
        case Do::next_plot_pair:
        case Do::plot_log_frequency:
        case Do::plot_log_value:
        case Do::plot_all:
        case Do::plot_near:
        case Do::zoom_in:
        case Do::zoom_out:
        case Do::pan_left:
        case Do::pan_right:
        case Do::cursor_a:
        case Do::cursor_b:
        case Do::clear_cursors:
        case Do::save_svg:
        case Do::save_png:
            return act_on_plot(a);
        case Do::go_coil:
        case Do::go_wiring:
        case Do::go_standards:
        case Do::go_sweep:
        case Do::go_tuning:
        case Do::next_step:
        case Do::close_dialog:
        case Do::help:
        case Do::toggle_theme:
        case Do::text_larger:
        case Do::text_smaller:
        case Do::set_scale:
        case Do::quit:
            return act_on_window(a);
    }
}

void App::act_on_window(const Action& a) {
    const auto scaled = [&](double scale) { state_.text_scale = std::clamp(scale, 1.0, 2.5); };
    switch (a.what) {
        case Do::go_coil:
            state_.step = Step::coil;
            break;
        case Do::go_wiring:
            state_.step = Step::wiring;
            break;
        case Do::go_standards:
            state_.step = Step::standards;
            break;
        case Do::go_sweep:
            state_.step = Step::sweep;
            break;
        case Do::go_tuning:
            state_.step = Step::tuning;
            break;
        case Do::next_step:
            state_.step = static_cast<Step>(std::min(static_cast<int>(state_.step) + 1, kSteps - 1));
            break;
        case Do::close_dialog:
            state_.after_cautions = Task::none;
            if (state_.help_open || state_.cautions_open || state_.budget_open) {
                state_.help_open = state_.cautions_open = state_.budget_open = false;
            } else {
                state_.notice.clear();
                state_.complaint.clear();
                state_.unkept.clear();
                state_.conflict.reset();
            }
            break;
        case Do::help:
            state_.help_open = !state_.help_open;
            break;
        case Do::toggle_theme:
            state_.dark = !state_.dark;
            content_changed();
            break;
        case Do::text_larger:
            scaled(state_.text_scale + 0.25);
            break;
        case Do::text_smaller:
            scaled(state_.text_scale - 0.25);
            break;
        case Do::set_scale:
            if (a.has_number) scaled(a.number);
            break;
        case Do::quit:
            stop();
            state_.quit = true;
            break;
        default:
            break;
    }
}

void App::coil_changed() {
    state_.can_undo = history_.can_undo();
    state_.can_redo = history_.can_redo();
    state_.reading = read(state_.coil);
    if (state_.reading.coil) state_.last_coil = state_.reading.coil;
    calculate();
    retune();
    follow_book();
}

void App::calculate() {
    ++state_.coil_serial;
    state_.calculating = state_.advising = state_.reading.coil.has_value();
    if (!state_.reading.coil) {
        state_.calculation = {};
        content_changed();
        return;
    }
    const auto& settings = state_.bench_reading.settings;
    workers_.calculate({state_.coil_serial, *state_.standing_coil(), state_.bench.sample_rate_hz,
                        settings ? settings->bench.reference_ohm : kUsualReference_ohm});
}

bool App::take_in() {
    auto reports = workers_.take_reports();
    for (Report& report : reports) {
        std::visit([&](auto& r) { take(r); }, report);
    }
    auto kept = keeper_.take_reports();
    for (BookReport& report : kept) take(report);
    const bool settled = drop_refusal();
    return settled || !reports.empty() || !kept.empty();
}

// What was refused is not said any longer once nothing speaks against it: it would stand there in red beside a good
// measurement of another step.
bool App::drop_refusal() {
    if (refusal_.empty() || why_not() == refusal_) return false;
    const bool shown = state_.complaint == refusal_;
    if (shown) state_.complaint.clear();
    refusal_.clear();
    return shown;
}

void App::take(AdviceReport& report) {
    if (report.serial != state_.coil_serial) return;
    state_.calculation.advice = std::move(report.sentence);
    state_.advising = false;
}

void App::take(CalculationReport& report) {
    if (report.calculation.serial != state_.coil_serial) return;  // of a description that has changed since
    state_.calculation = std::move(report.calculation);
    state_.calculating = false;
    content_changed();
    if (state_.view.follows_data) show_near();
}

}  // namespace coldtune::gui
