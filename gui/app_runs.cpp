// Runs, and the plot they are drawn in.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/result_json.hpp"
#include "analyzer/picture/svg_canvas.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "gui/app.hpp"

namespace coldtune::gui {

using bench::Hookup;

namespace {

constexpr double kZoomStep = 1.5;
constexpr double kPanStep = 0.2;
// A view of the resonance shows this many of its bandwidths, or this many times the distance to the calculated one.
constexpr double kBandwidthsShown = 12;
constexpr double kDistancesShown = 3.2;

void join(std::string& list, const std::string& item) {
    if (!list.empty()) list += ", ";
    list += item;
}

}  // namespace

Evidence evidence_of(const Run& run) {
    return {run.name, run.written, false, fmt::format("{:%Y-%m-%d %H:%M}", fmt::localtime(Clock::to_time_t(run.time)))};
}

void App::add_run(SweepReport& report) {
    Run run;
    run.id = state_.next_run++;
    run.name = fmt::format("Run {}", run.id);
    run.result = std::move(*report.result);
    run.measured = std::move(report.measured);
    run.fitted = std::move(report.fitted);
    run.time = Clock::now();
    run.device = state_.bench.device;
    run.coil_name = state_.coil.name;
    for (const std::string& s : report.standards_used) join(run.standards, s);
    run.written = record::json_text(measure::to_json(run.result, false));
    keep(run, report);
    state_.selected_run = run.id;
    const std::string stands = take_run(state_.tuning.form, evidence_of(run), run.result);
    if (!stands.empty() && state_.reading.coil && state_.reading.coil->primary) {
        state_.notice = fmt::format("{} stands in step 5 as {}.", run.name, stands);
    }
    const Run* last = state_.runs.empty() ? nullptr : &state_.runs.back();
    if (last != nullptr && last->result.hookup != run.result.hookup) {
        // Curves of another hookup mean something else: they step back, a click brings them in again.
        for (Run& other : state_.runs) other.shown = other.shown && other.result.hookup == run.result.hookup;
    }
    if (last == nullptr || last->result.hookup != run.result.hookup) {
        // The foot is read as an admittance, a parallel circuit as an impedance.
        const bool series = run.result.hookup == Hookup::foot;
        act_on_plot(action(Do::plot_pair, static_cast<double>(series ? PlotPair::admittance : PlotPair::impedance)));
    }
    state_.runs.push_back(std::move(run));
    state_.step = Step::sweep;
    content_changed();
    show_near();
    compare_again();
    if (!stands.empty()) retune();
}

void App::take(GainReport& report) {
    // Of the sweep before it, unless that was deleted in between.
    if (!state_.runs.empty()) state_.runs.back().gains = std::move(report.gains);
}

void App::act_on_runs(const Action& a) {
    if (a.what == Do::undo_delete) return undo_delete();
    if (state_.runs.empty()) return;
    const int id = a.has_number ? static_cast<int>(a.number) : state_.selected_run;
    const auto at = std::find_if(state_.runs.begin(), state_.runs.end(), [&](const Run& r) { return r.id == id; });
    const auto select_beside = [&](std::ptrdiff_t by) {
        const auto now = at == state_.runs.end() ? state_.runs.begin() : at;
        const auto count = static_cast<std::ptrdiff_t>(state_.runs.size());
        const auto index = std::clamp<std::ptrdiff_t>(now - state_.runs.begin() + by, 0, count - 1);
        state_.selected_run = state_.runs[static_cast<std::size_t>(index)].id;
    };
    switch (a.what) {
        case Do::next_run:
            select_beside(1);
            break;
        case Do::previous_run:
            select_beside(-1);
            break;
        case Do::select_run:
            if (at != state_.runs.end()) state_.selected_run = id;
            break;
        case Do::toggle_run:
            if (at != state_.runs.end()) at->shown = !at->shown;
            break;
        case Do::toggle_budget: {
            const Run* selected = state_.selected();
            state_.budget_open = !state_.budget_open && selected != nullptr && selected->result.resonance() != nullptr;
            break;
        }
        case Do::note_run:
            if (at == state_.runs.end()) return;
            at->note = a.text;
            if (at->number > 0) keeper_.note(state_.book.path, at->number, a.text);
            return;
        case Do::keep_again: {
            const auto waiting = unkept_.find(id);
            if (at == state_.runs.end() || waiting == unkept_.end()) return;
            at->unkept.clear();
            ask_book(std::move(waiting->second));
            unkept_.erase(waiting);
            return;
        }
        case Do::compare_run: {
            if (a.has_number) {
                const bool again = state_.compare_run == id;
                state_.compare_run = again || at == state_.runs.end() || id == state_.selected_run
                                         ? std::nullopt
                                         : std::optional<int>(id);
            } else if (state_.compare_run) {
                state_.compare_run.reset();
            } else if (at != state_.runs.end() && at != state_.runs.begin()) {
                state_.compare_run = std::prev(at)->id;
            }
            break;
        }
        case Do::delete_run:
            if (at == state_.runs.end()) return;
            if (state_.compare_run == id) state_.compare_run.reset();
            select_beside(at + 1 == state_.runs.end() ? -1 : 1);
            delete_run(at);
            if (state_.runs.empty()) state_.selected_run = -1;
            state_.budget_open = false;
            break;
        default:
            return;
    }
    want_curves();
    content_changed();
    compare_again();
}

void App::act_on_plot(const Action& a) {
    PlotView& v = state_.view;
    const auto moved = [&] {
        v.follows_data = false;
        view_moved(false);
    };
    const Run* selected = state_.selected();
    switch (a.what) {
        case Do::plot_pair:
        case Do::next_plot_pair: {
            const int now = a.what == Do::plot_pair ? static_cast<int>(a.number) : static_cast<int>(state_.pair) + 1;
            state_.pair = static_cast<PlotPair>(((now % kPlotPairs) + kPlotPairs) % kPlotPairs);
            v.y[0].scale = usually_logarithmic(state_.pair) ? Scale::logarithmic : Scale::linear;
            v.y[1].scale = Scale::linear;
            values_follow_ = true;
            content_changed();
            break;
        }
        case Do::plot_log_frequency:
            set_scale(v.x, v.x.scale == Scale::linear ? Scale::logarithmic : Scale::linear);
            view_moved(false);
            break;
        case Do::plot_log_value:
            v.y[0].scale = v.y[0].scale == Scale::linear ? Scale::logarithmic : Scale::linear;
            values_follow_ = true;
            follow_values();
            break;
        case Do::plot_all:
            reset(v);
            v.follows_data = false;
            values_follow_ = true;
            follow_values();
            break;
        case Do::plot_near:
            show_near();
            break;
        case Do::zoom_in:
            zoom(v.x, 0.5, kZoomStep);
            moved();
            break;
        case Do::zoom_out:
            zoom(v.x, 0.5, 1 / kZoomStep);
            moved();
            break;
        case Do::pan_left:
            pan(v.x, -kPanStep);
            moved();
            break;
        case Do::pan_right:
            pan(v.x, kPanStep);
            moved();
            break;
        case Do::cursor_a:
            if (a.has_number) {
                v.cursor_a = Cursor{a.number};
            } else if (selected != nullptr && selected->result.resonance() != nullptr) {
                v.cursor_a = Cursor{selected->result.resonance()->frequency_hz};
            } else {
                v.cursor_a = Cursor{value_at(0.4, v.x.range, v.x.scale)};
            }
            break;
        case Do::cursor_b:
            if (a.has_number) {
                v.cursor_b = Cursor{a.number};
            } else if (state_.calculation.value) {
                v.cursor_b = Cursor{state_.calculation.value->frequency_hz};
            } else {
                v.cursor_b = Cursor{value_at(0.6, v.x.range, v.x.scale)};
            }
            break;
        case Do::clear_cursors:
            v.cursor_a.reset();
            v.cursor_b.reset();
            break;
        case Do::save_svg:
            save_svg(picture_path(a.text, ".svg"));
            break;
        case Do::save_png:
            png_request_ = picture_path(a.text, ".png");
            break;
        default:
            break;
    }
}

const PlotScene& App::scene() {
    if (scene_built_ == state_.scene_serial && scene_dark_ == state_.dark) return scene_;
    scene_built_ = state_.scene_serial;
    scene_dark_ = state_.dark;
    scene_ = builder_.build(state_, theme_for(state_.dark));
    if (const auto x = data_x(scene_)) {
        const bool first = state_.view.x.range == Range{};
        set_home(state_.view.x, *x, first);
        follow_values();
        if (first) show_near();
    }
    return scene_;
}

void App::view_moved(bool values_too) {
    state_.view.follows_data = false;
    if (values_too) {
        values_follow_ = false;
    } else {
        follow_values();
    }
}

void App::follow_values() {
    for (std::size_t k = 0; k < std::min(scene_.panes.size(), kMostPanes); ++k) {
        AxisView& y = state_.view.y[k];
        auto range = data_y(scene_.panes[k], state_.view.x.range, y.scale);
        if (!range && y.scale == Scale::logarithmic) {
            // Nothing positive in view: only a linear axis can show it. Nothing at all in view: left as it is.
            range = data_y(scene_.panes[k], state_.view.x.range, Scale::linear);
            if (range) y.scale = Scale::linear;
        }
        if (range) set_home(y, with_margin(*range, y.scale, 0.08), values_follow_);
    }
}

void App::show_near() {
    const std::uint64_t wanted = state_.scene_serial;
    if (scene_built_ != wanted) scene();  // brings home up to date first
    const measure::MeasurementResult* shown = state_.shown_result();
    const measure::Curve* curve = state_.shown_curve();
    const auto* resonance = shown != nullptr ? shown->resonance() : nullptr;
    const bool secondary = state_.bench.hookup == Hookup::foot || state_.bench.hookup == Hookup::pickup;
    const auto& value = state_.calculation.value;
    double centre = 0, half = 0;
    const bool swept = curve != nullptr && curve->frequency_hz.size() > 1;
    if (resonance != nullptr && resonance->way != measure::Way::in_band && swept) {
        // Measured below, found above: from the upper part of what was heard to beyond the resonance.
        const double heard = curve->frequency_hz.back();
        const double above = std::max(resonance->frequency_hz, value ? value->frequency_hz : 0.0);
        centre = (0.4 * heard + 1.15 * above) / 2;
        half = 1.15 * above - centre;
    } else if (const measure::Pair* pair = shown != nullptr ? shown->pair() : nullptr) {
        centre = (pair->lower.frequency_hz + pair->upper.frequency_hz) / 2;
        half = 1.5 * (pair->upper.frequency_hz - pair->lower.frequency_hz);
    } else if (resonance != nullptr) {
        centre = resonance->frequency_hz;
        half = kBandwidthsShown / 2 * centre / resonance->q.value_or(100);
        if (value && secondary) {
            half = std::max({half, kDistancesShown / 2 * std::abs(value->frequency_hz - centre), 0.02 * centre});
            centre = (centre + value->frequency_hz) / 2;
        }
    } else if (value && secondary && !swept) {
        centre = value->frequency_hz;
        half = std::max(3 * value->frequency_u95_hz, 0.1 * centre);
    } else {
        reset(state_.view);
        values_follow_ = true;
        follow_values();
        return;
    }
    AxisView& x = state_.view.x;
    if (!(x.home.high > x.home.low)) return;
    const double low = std::max(centre - half, centre * 0.05);
    x.range = {low, centre + half};
    zoom(x, 0.5, 1.0);  // keeps it inside the limit
    state_.view.follows_data = true;
    values_follow_ = true;
    follow_values();
}

std::filesystem::path App::picture_path(const std::string& wanted, const char* ending) const {
    if (!wanted.empty()) return wanted;
    const auto now = std::chrono::time_point_cast<std::chrono::seconds>(Clock::now());
    return pictures_ / fmt::format("coldtune-{:%Y%m%d-%H%M%S}{}", fmt::localtime(Clock::to_time_t(now)), ending);
}

void App::save_svg(const std::filesystem::path& path) {
    // The same picture as on the screen, at a size fit for a page.
    constexpr float kWidth = 1200, kHeight = 760, kText = 15;
    const Theme& theme = theme_for(state_.dark);
    SvgCanvas canvas(kWidth, kHeight, theme.panel, kText);
    PlotCache cache;
    draw_plot(canvas, {0, 0, kWidth, kHeight}, scene(), state_.view, {theme, 1}, cache);
    png_saved(record::write_file_atomically(path, canvas.file()), path);
}

void App::png_saved(const Status& status, const std::filesystem::path& path) {
    if (status) {
        state_.notice = fmt::format("Plot saved as {}", path.string());
    } else {
        state_.complaint = status.error().message;
    }
}

}  // namespace coldtune::gui
