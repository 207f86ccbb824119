#include "analyzer/measure/below_band_strain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace coldtune::measure {
namespace {

constexpr double kEase = 2, kCaution = 3, kReject = 4.5;

double of_description(const BelowBandFit::Strain& s) {
    return std::max({std::abs(s.capacitance), std::abs(s.inductance), std::abs(s.shape)});
}

}  // namespace

double widening(const BelowBandFit::Strain& s) {
    const double strain = std::max({of_description(s), std::abs(s.stray), std::abs(s.channels)}) / kEase;
    return std::max(1.0, strain * strain);
}

std::optional<Finding> judge_strain(const BelowBandFit& fit) {
    const auto& s = fit.strain;
    const double description = of_description(s), stray = std::abs(s.stray), channels = std::abs(s.channels);
    const double worst = std::max({description, stray, channels});
    if (worst < kCaution) return std::nullopt;
    const Weight weight = worst < kReject ? Weight::caution : Weight::reject;
    const char* so =
        weight == Weight::reject ? "so nothing can be said of the resonance" : "so the interval is widened";
    if (worst == description) {
        return Finding{
            FindingCode::no_coil, weight,
            fmt::format("the curve is hardly that of the described coil (inductance {:+.0f} %, capacitance {:+.0f} "
                        "% from it to follow), {}; check turns, dimensions and top load of the description, that "
                        "the return is on its clip and the winding whole, and that nothing else hangs on the lead{}",
                        100 * (fit.inductance_ratio - 1), 100 * (fit.capacitance_ratio - 1), so,
                        fit.used_open ? "" : "; first of all measure the open standard, which takes the inputs out")};
    }
    if (worst == stray) {
        return Finding{
            FindingCode::correction_stale, weight,
            fmt::format("{:+.1f} pF are left at the foot beside the coil, more than the cable as measured or "
                        "declared leaves room for, {}; measure the open standard again with the leads as they lie",
                        fit.stray_f * 1e12, so)};
    }
    return Finding{
        FindingCode::uncorrected, weight,
        fmt::format("the two inputs seem to differ more than inputs of one interface do, {}; measure the load "
                    "standard, which takes that out",
                    so)};
}

}  // namespace coldtune::measure
