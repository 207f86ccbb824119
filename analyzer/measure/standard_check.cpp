#include "analyzer/measure/standard_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

#include "analyzer/record/quantity.hpp"
#include "dsp/resonance_fit.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

// The low tenth of the band, where a lead's capacitance does not count yet.
constexpr std::size_t kLowTenth = 10;
// A line input of 10 kohm behind 22 kohm leaves 0.31 of the level. Common practice, no source.
constexpr double kOpenAtLeast = 0.25;
// Knobs of two inputs set by eye (common practice, no source); inputs swapped show 1 + reference / input resistance
// here.
constexpr double kMostGain = 1.2;
// A short through the lead itself still leaves a tenth of an ohm behind 10 kohm at input 2, and some hum.
constexpr double kDead = 3e-5;
// Of the declared input resistance: what a lead's capacitance (150 pF at some kilohertz) leaves of 1 Mohm is a tenth.
constexpr double kInputOff = 0.05;
// Of the reference resistor: a metre of lead has 6 ohm at 1 MHz, and nobody takes a reference of 20 ohm for a coil.
constexpr double kShortAtMost = 0.3;
// A lead's and an input's own share, and an input of 10 kohm beside a load of 2.2 kohm.
constexpr double kLoadOff = 0.2;
// Of a lead's smooth conductance; and of 1 / reference: a coil at the clip conducts more than that at its resonance,
// the ripple of a monitor loop does not.
constexpr double kPeakSigma = 12;
constexpr double kPeakHeight = 0.5;

Complex low_end(const dsp::Response& response) {
    std::vector<double> real, imag;
    const std::size_t some = response.ratio.size() / kLowTenth + 1;
    for (std::size_t k = 0; k < some && k < response.ratio.size(); ++k) {
        real.push_back(response.ratio[k].real());
        imag.push_back(response.ratio[k].imag());
    }
    if (real.empty()) return 1;
    const auto middle = [](std::vector<double>& v) {
        const auto at = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
        std::nth_element(v.begin(), at, v.end());
        return *at;
    };
    return {middle(real), middle(imag)};
}

Finding none(std::string text) {
    return {FindingCode::correction_stale, Weight::reject, std::move(text)};
}

std::optional<Finding> judge_open(const dsp::Response& response, const dsp::BenchValues& bench, Complex low) {
    if (std::abs(low) < kDead) {
        return Finding{FindingCode::too_quiet, Weight::reject,
                       "next to nothing reaches input 2 with the lead open: the clip touches the return, the plug is "
                       "off, the channel is another one, or its gain is turned down; check these and measure again"};
    }
    if (std::abs(low) < kOpenAtLeast) {
        return none(
            fmt::format("the open lead conducts like {}: take everything off the clip, let it hang where the "
                        "foot is, and measure it again",
                        record::ohm_text(std::abs(bench.reference_ohm * low / (1.0 - low)), 3)));
    }
    const double seen_ohm = std::abs(bench.reference_ohm * low / (1.0 - low));
    if (seen_ohm < kInputOff * bench.input_resistance_ohm) {
        return Finding{FindingCode::correction_stale, Weight::caution,
                       fmt::format("the open lead conducts like {}: if that is the input's own resistance, state it "
                                   "(input resistance); else take off what still hangs on the clip",
                                   record::ohm_text(seen_ohm, 3))};
    }
    const auto corrected = dsp::correct(response, {}, bench);
    if (!corrected) return std::nullopt;
    const auto peaks = dsp::find_peaks(*corrected, dsp::ResonanceForm::series);
    const auto tall = std::find_if(peaks.begin(), peaks.end(), [&](const dsp::Peak& p) {
        return p.significance > kPeakSigma && p.height * bench.reference_ohm > kPeakHeight;
    });
    if (tall == peaks.end()) return std::nullopt;
    return none(
        fmt::format("the open lead resonates at {}: the clip still holds the coil; take it off, let it hang "
                    "where the foot is, and measure it again",
                    record::format_quantity(tall->frequency_hz, record::Unit::hertz, 3)));
}

std::optional<Finding> judge_load(const dsp::BenchValues& bench, Complex low) {
    const double seen_ohm = std::abs(bench.reference_ohm * low / (1.0 - low));
    if (bench.load_ohm > 0) {
        // The input stands beside the load.
        const double beside = 1 / (1 / bench.load_ohm + 1 / bench.input_resistance_ohm);
        const double off = std::min(std::abs(seen_ohm / bench.load_ohm - 1), std::abs(seen_ohm / beside - 1));
        if (off < kLoadOff) return std::nullopt;
        return none(
            fmt::format("the load of {} looks like {} behind the reference of {}: check both values and that "
                        "the clip holds the load alone, and measure it again",
                        record::ohm_text(bench.load_ohm, 3), record::ohm_text(seen_ohm, 3),
                        record::ohm_text(bench.reference_ohm, 3)));
    }
    // Without a stated value only what is no resistor at all.
    constexpr double kLargest = 8, kSmallest = 0.02;  // of the reference resistor: beyond, it would correct nothing
    const double part = seen_ohm / bench.reference_ohm;
    if (part < kLargest && part > kSmallest) return std::nullopt;
    return none(
        fmt::format("the load looks like {}: clip the load resistor, near the reference in value, between the "
                    "lead and the return, and measure it again",
                    part > 1 ? std::string("an open lead") : record::ohm_text(seen_ohm, 3)));
}

}  // namespace

double gain_of(const dsp::Response& open) {
    const double low = std::abs(low_end(open));
    return low > 1 && low < kMostGain ? low : 1;
}

std::optional<Finding> judge_gain(double gain, bool with_load) {
    if (with_load || gain < 1 + kAlikeGains) return std::nullopt;
    return Finding{
        FindingCode::uncorrected, Weight::caution,
        fmt::format("input 2 gives {:.1f} % more than input 1: resistance and inductance are off by as much, "
                    "the frequency is not; set both gains alike and measure the standards again, or measure "
                    "the load standard as well",
                    100 * (gain - 1))};
}

bool turned_over(const dsp::Response& response) {
    const Complex low = low_end(response);
    // Re(Z / (R + Z)) is never negative for Z with Re Z >= 0.
    constexpr double kClearly = 0.05;
    return low.real() < -kClearly;
}

std::optional<Finding> judge_standard(bench::Hookup hookup, const dsp::Response& response,
                                      const dsp::BenchValues& bench) {
    using bench::Hookup;
    if (hookup != Hookup::open && hookup != Hookup::short_circuit && hookup != Hookup::load) return std::nullopt;
    if (response.ratio.empty() || !(bench.reference_ohm > 0)) return std::nullopt;
    if (turned_over(response)) {
        return Finding{FindingCode::inputs_swapped, Weight::reject,
                       "input 2 moves against input 1: one of the two is turned over; undo its polarity switch, or "
                       "use the same kind of plug at both"};
    }
    const Complex low = low_end(response);
    if (hookup == Hookup::open) return judge_open(response, bench, low);
    if (hookup == Hookup::load) return judge_load(bench, low);
    const double part = std::abs(low / (1.0 - low));
    if (part < kShortAtMost) return std::nullopt;
    return none(
        fmt::format("the short looks like {}: clip the lead to the return, see that the return reaches the "
                    "interface, and measure it again",
                    record::ohm_text(part * bench.reference_ohm, 3)));
}

}  // namespace coldtune::measure
