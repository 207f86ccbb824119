// Following a resonance live: readings come in, the last good one is kept as a run.
#include <algorithm>

#include "gui/app.hpp"

namespace coldtune::gui {

void App::take(FollowReport& report) {
    if (state_.progress.task != Task::follow || !state_.following) return;
    Following& f = *state_.following;
    const bool first = f.readings == 0;
    ++f.readings;
    // A loop that was begun anew counts its own time; the history goes on.
    f.update_s = report.reading.period_s;
    f.at_s += first ? 0 : f.update_s;
    f.measured = std::move(report.measured);
    f.fitted = std::move(report.fitted);
    f.latest = std::move(report.reading.result);
    f.standards.clear();
    for (const std::string& name : report.standards_used) f.standards += (f.standards.empty() ? "" : ", ") + name;
    Following::Point point{f.at_s, std::nullopt, 0};
    const auto* r = f.latest->resonance();
    if (r != nullptr) {
        point.frequency_hz = r->frequency_hz;
        point.u95_hz = r->frequency_u95_hz;
        if (!f.first_hz) f.first_hz = r->frequency_hz;
        f.kept = f.latest;
        f.kept_measured = f.measured;
        f.kept_fitted = f.fitted;
    }
    f.history.push_back(point);
    const auto recent = std::find_if(f.history.begin(), f.history.end(),
                                     [&](const Following::Point& p) { return p.at_s >= f.at_s - kHistory_s; });
    f.history.erase(f.history.begin(), recent);

    state_.progress.what = "following";
    state_.progress.fraction = 1;
    state_.progress.seconds_left = 0;
    state_.generator_meter = {report.reading.peak_generator,
                              std::max(state_.generator_meter.held, report.reading.peak_generator)};
    state_.coil_meter = {report.reading.peak_coil, std::max(state_.coil_meter.held, report.reading.peak_coil)};
    content_changed();
    // The view goes along as long as nobody has moved it by hand.
    const Range& x = state_.view.x.range;
    const bool outside = r != nullptr && (r->frequency_hz < x.low + 0.1 * (x.high - x.low) ||
                                          r->frequency_hz > x.high - 0.1 * (x.high - x.low));
    if (first || (outside && state_.view.follows_data)) show_near();
}

void App::end_following() {
    if (!state_.following) return;
    Following& f = *state_.following;
    if (!f.kept) {
        state_.notice = "Ended; no resonance was seen.";
        return;
    }
    SweepReport report{Task::follow, f.kept->hookup, std::move(*f.kept), f.kept_measured, f.kept_fitted, nullptr,
                       {},           false};
    f.kept.reset();
    report.standards_used = {};
    if (!f.standards.empty()) report.standards_used.push_back(f.standards);
    add_run(report);
    state_.runs.back().note = "last live reading";
    state_.notice = "Ended; the last reading is kept as " + state_.runs.back().name + ".";
}

}  // namespace coldtune::gui
