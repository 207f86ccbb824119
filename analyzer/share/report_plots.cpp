#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/picture/svg_canvas.hpp"
#include "analyzer/picture/theme.hpp"
#include "analyzer/share/report_parts.hpp"
#include "analyzer/share/response_plot.hpp"

namespace coldtune::share {
namespace {

struct Drawn {
    bench::Hookup hookup;
    bool pair = false;  // secondary and tank together: another curve than the secondary's alone
    std::vector<const ReportRun*> runs;
};

// Why runs are not drawn, each reason with its runs.
using NotDrawn = std::vector<std::pair<std::string, std::vector<std::string>>>;

void leave_out(NotDrawn& left, const std::string& why, const ReportRun& run) {
    auto found = std::find_if(left.begin(), left.end(), [&](const auto& entry) { return entry.first == why; });
    if (found == left.end()) found = left.insert(left.end(), {why, {}});
    found->second.push_back(run.name);
}

// Nothing may be missing from a picture without a word.
std::string not_drawn_html(const NotDrawn& left) {
    constexpr std::size_t most_names = 12;
    std::string out;
    for (const auto& [why, names] : left) {
        std::string list;
        for (std::size_t i = 0; i < std::min(names.size(), most_names); ++i) list += (i > 0 ? ", " : "") + names[i];
        if (names.size() > most_names) list += fmt::format(" and {} more", names.size() - most_names);
        out += fmt::format("<p class=\"small\">Not drawn: {} ({}).</p>\n", escaped_html(list), escaped_html(why));
    }
    return out;
}

// Runs whose curve is an impedance, by hookup, pairs by themselves. Of very many the last ones: more could not be told
// apart.
std::vector<Drawn> drawable(const Report& report, NotDrawn& left) {
    std::vector<Drawn> found;
    for (bench::Hookup hookup : hookups_of(report)) {
        for (const bool pair : {false, true}) {
            Drawn drawn{hookup, pair, {}};
            for (const ReportRun& run : report.runs) {
                if (run.result.hookup != hookup || (run.result.pair() != nullptr) != pair) continue;
                if (!curve_is_sound(run.result)) {
                    leave_out(left, "rejected: the curve is no impedance", run);
                } else if (run.result.curve.frequency_hz.size() > 1) {
                    drawn.runs.push_back(&run);
                } else {
                    leave_out(left, run.not_drawn.empty() ? "no curve was kept with it" : run.not_drawn, run);
                }
            }
            const auto over =
                static_cast<std::ptrdiff_t>(drawn.runs.size() - std::min(drawn.runs.size(), most_drawn_together));
            for (auto run = drawn.runs.begin(); run != drawn.runs.begin() + over; ++run)
                leave_out(left, only_the_last_are_drawn, **run);
            drawn.runs.erase(drawn.runs.begin(), drawn.runs.begin() + over);
            if (!drawn.runs.empty()) found.push_back(std::move(drawn));
        }
    }
    return found;
}

std::string plot_svg(const ResponsePlot& plot, const std::string& name, const std::string& title) {
    // As wide as the text of an A4 page, so that letters come out as large as a caption's.
    constexpr float kWidth = 860, kHeight = 560, kText = 14;
    picture::SvgCanvas canvas(kWidth, kHeight, picture::light_theme().panel, kText, name);
    draw_response(canvas, {0, 0, kWidth, kHeight}, plot);
    return canvas.element(title);
}

std::string figure(const std::string& svg, const std::string& caption) {
    return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", svg, caption);
}

// Around the resonance, wide enough to show the calculated one too where that is near.
std::optional<dsp::Band> close_band(const ResponsePlot& plot) {
    if (plot.peaks.size() == 2) return dsp::Band{0.8 * plot.peaks[0].frequency_hz, 1.25 * plot.peaks[1].frequency_hz};
    if (!plot.resonance || plot.resonance->way != measure::Way::in_band || plot.measured.empty()) return std::nullopt;
    const double f = plot.resonance->frequency_hz;
    double half = 5 * f / plot.resonance->q.value_or(100);
    if (plot.calculated_value) half = std::max(half, 1.5 * std::abs(plot.calculated_value->frequency_hz - f));
    const auto& measured = plot.measured.back().curve.frequency_hz;
    const dsp::Band band{std::max(f - half, measured.front()), std::min(f + half, measured.back())};
    // A close look at nearly everything would show nothing new.
    return band.high_hz < 2 * band.low_hz ? std::optional(band) : std::nullopt;
}

}  // namespace

Result<std::string> plots_section(const Report& report) {
    std::string out;
    NotDrawn left;
    for (const Drawn& drawn : drawable(report, left)) {
        const ReportRun* best = nullptr;
        for (const ReportRun* run : drawn.runs) {
            if (run->result.resonance() != nullptr || drawn.pair) best = run;
        }
        ResponsePlot plot = plot_of((best != nullptr ? best : drawn.runs.back())->result, "");
        plot.measured.clear();
        for (const ReportRun* run : drawn.runs) {
            std::string name = run->name;
            if (run->result.verdict() == measure::Verdict::rejected) name += " (rejected)";
            if (run == best) plot.marked = plot.measured.size();
            plot.measured.push_back({std::move(name), run->result.curve});
        }
        const bool of_secondary =
            !drawn.pair && (drawn.hookup == bench::Hookup::foot || drawn.hookup == bench::Hookup::winding);
        // Only under runs that were analysed with the description the report shows.
        const ReportRun& about = best != nullptr ? *best : *drawn.runs.back();
        if (report.coil && of_secondary && (about.coil_version == 0 || about.coil_version == report.coil_version)) {
            if (Status added = add_calculated(plot, *report.coil); !added) return added.error();
        }
        const std::string hookup(bench::describe(drawn.hookup).name);
        const std::string what = drawn.hookup == bench::Hookup::foot ? "admittance" : "impedance";
        const std::string name = hookup + (drawn.pair ? "pair" : "");
        std::string caption = fmt::format("Hookup {}{}: {} over the usable band, with its 95 % band", hookup,
                                          drawn.pair ? ", tank closed" : "", what);
        if (plot.calculated) caption += "; dashed: calculated from the dimensions";
        out += figure(plot_svg(plot, name + "whole", caption), caption + ".");
        if (const auto band = close_band(plot)) {
            plot.band = band;
            const std::string close =
                drawn.pair ? fmt::format("Hookup {}, tank closed: the same around both resonances", hookup)
                           : fmt::format("Hookup {}: the same around the resonance", hookup);
            out += figure(plot_svg(plot, name + "close", close), close + ".");
        }
    }
    const std::string words = not_drawn_html(left);
    return out.empty() ? words : "<section><h2>Response</h2>\n" + out + words + "</section>\n";
}

}  // namespace coldtune::share
