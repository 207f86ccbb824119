#include "analyzer/measure/steadiness.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/record/quantity.hpp"
#include "dsp/period_shift.hpp"

namespace coldtune::measure {
namespace {

// Of the half-width: what stays below moves nothing. A hand that was there for nine tenths of the time shows a fifth of
// its effect in the difference of the periods, so that the whole effect stays within the half-width.
constexpr double kMatters = 0.2;
// By how much more than the whole curve (cable and coil together) the resonance below the band is taken to have moved:
// three on a coil that changes as a whole, up to 180 where the change bends the curve, on simulated benches.
constexpr double kBendPerCurve = 50;
// Of the ratio: converters and leads left alone hold it to a thousandth (common practice, no source).
constexpr double kLargeElsewhere = 0.003;
constexpr double kSignificance = 25;
// A contact that opens for milliseconds makes a peak of its own where the sweep then is (seen on coils that resonate
// far above the band): a change this large beside the peak, within this part of its frequency, leaves nothing to trust.
constexpr double kLargeBeside = 0.01;
constexpr double kBeside = 0.2;
// Below the band the bend of the curve tells where the resonance is, and whatever moves while the sweep passes bends
// it: 3e-4 of the coil's capacitance, coming and going, moved results by 1 % (36 times as much) on simulated benches.
// Any change that noise does not explain counts there, down to what converters do by themselves.
constexpr double kLargeBelowBand = 1e-5;
// Below the band, chi square per degree of freedom: 0.2 to 1.2 on simulated benches where nothing moves; 4 to 17 where
// something swings in step with the sweep, which the comparison of periods cannot see.
constexpr double kRoughCurve = 2;

// What was compared with what.
const char* compared(const dsp::Response& response) {
    return response.way == dsp::ResponseWay::cross_spectra ? "parts of the capture" : "periods of the sweep";
}

void judge_roughness(const Resonance& resonance, std::vector<Finding>& findings) {
    if (resonance.way != Way::below_band || resonance.degrees_of_freedom == 0) return;
    const double misfit = resonance.chi_square / static_cast<double>(resonance.degrees_of_freedom);
    if (misfit < kRoughCurve) return;
    findings.push_back(
        {FindingCode::nonlinear, Weight::caution,
         fmt::format("the curve departs from that of a coil by {:.1f} times what noise explains: something "
                     "moved while the sweep passed, or a signal from outside lies on it; step back and "
                     "sweep again",
                     std::sqrt(misfit))});
}

// Elsewhere in the band a change tells that something happened, whether or not it reached the resonance.
void judge_elsewhere(const dsp::Response& response, const Resonance& resonance, std::vector<Finding>& findings) {
    const bool below = resonance.way == Way::below_band;
    const auto change = dsp::period_change(response, below ? dsp::Band{} : resonance.fit_window);
    const double large = below ? kLargeBelowBand : kLargeElsewhere;
    if (!change || change->significance < kSignificance || change->size < large) return;
    const bool beside =
        !below && change->size > kLargeBeside && std::abs(change->frequency_hz / resonance.frequency_hz - 1) < kBeside;
    findings.push_back({FindingCode::nonlinear, beside ? Weight::reject : Weight::caution,
                        fmt::format("one of the {} differs from the others by {:.2g} % near {}{}: a contact is "
                                    "loose, or something was touched; fasten the leads, step back and sweep again",
                                    compared(response), 100 * change->size,
                                    record::format_quantity(change->frequency_hz, record::Unit::hertz, 2),
                                    beside ? ", where the only peak stands" : "")});
}

}  // namespace

void judge_steadiness(const dsp::Response& response, Resonance& resonance, std::vector<Finding>& findings) {
    if (response.of_periods.empty()) return;
    judge_roughness(resonance, findings);
    const auto shift = dsp::period_shift(response, resonance.fit_window);
    const double scale = (resonance.way == Way::below_band ? kBendPerCurve : 1.0) * resonance.frequency_hz;
    const auto span_hz = [&] {
        const auto [lowest, highest] = std::minmax_element(shift->relative.begin(), shift->relative.end());
        return scale * (*highest - *lowest);
    };
    const bool below = resonance.way == Way::below_band;
    if (!shift || !shift->unsteady() || (!below && span_hz() < kMatters * resonance.frequency_u95_hz)) {
        judge_elsewhere(response, resonance, findings);
        return;
    }
    const double half_width_hz = scale * shift->mean_u95();
    resonance.budget.push_back({"unsteadiness", half_width_hz / 2, 0, 0});
    resonance.frequency_u95_hz = std::hypot(resonance.frequency_u95_hz, half_width_hz);
    findings.push_back(
        {FindingCode::nonlinear, Weight::caution,
         fmt::format("the resonance moved by {} between the {}, which noise does not explain: "
                     "something was touched or came near, a contact is loose, or a signal from outside lies on it; "
                     "fasten the leads, step back and sweep again",
                     record::format_quantity(span_hz(), record::Unit::hertz, 2), compared(response))});
}

}  // namespace coldtune::measure
