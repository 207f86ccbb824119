#include "analyzer/measure/declared_bench.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

// Beyond the declared tolerances: contacts, inputs that differ while no open standard was taken.
constexpr double kResistor = 0.05;
// Lead and input together are hardly ever under a quarter or over four times of what is declared (about 10 cm to 4 m of
// cable at 100 pF/m; common practice, no source).
constexpr double kCapacitanceFactor = 4;
// Rms of what is left of the open lead's ratio beside a smooth curve: a loop 54 dB down. Ten times that moved a
// resonance by up to ten half-widths on simulated benches corrected by the open standard alone.
constexpr double kRipple = 1.4e-3;
constexpr double kSmoothUpTo = 0.85;      // of the band: above it the converters' filters bend the ratio steeply
constexpr Eigen::Index kSmoothTerms = 6;  // complex powers of frequency
// The low end of the band, where the lead's capacitance shunts the load least.
constexpr std::size_t kLowEnd = 10;  // a tenth of the bins

double median(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

// The reference resistor as the load shows it, told in two ways from the low end of the band, where the lead's
// capacitance does not count yet. The difference of the inverse ratios is R / Z_load whatever the input's resistance
// is, but in units of the inputs' relative gain; open / load - 1 is that of R beside the input, and gains drop out.
// Without the open standard its ratio is taken as 1.
struct SeenByLoad {
    double whatever_input_ohm = 0, whatever_gain_ohm = 0;
};
std::optional<SeenByLoad> seen_by_load(const dsp::Standards& standards, const dsp::BenchValues& bench) {
    const dsp::Response& load = *standards.load;
    const std::size_t some = load.ratio.size() / kLowEnd + 1;
    std::vector<double> by_difference, by_quotient;
    for (std::size_t k = 0; k < some && k < load.ratio.size(); ++k) {
        Complex open = 1;
        if (standards.open && !standards.open->ratio.empty()) {
            const auto& f = standards.open->frequency_hz;
            const auto at = std::lower_bound(f.begin(), f.end(), load.frequency_hz[k]) - f.begin();
            open = standards.open->ratio[std::min(static_cast<std::size_t>(at), f.size() - 1)];
        }
        by_difference.push_back(bench.load_ohm * std::abs(1.0 / load.ratio[k] - 1.0 / open));
        by_quotient.push_back(bench.load_ohm * std::abs(open / load.ratio[k] - 1.0));
    }
    if (by_quotient.empty()) return std::nullopt;
    // R beside the declared input resistance, the latter taken off.
    const double beside = median(by_quotient);
    const double alone = 1 / std::max(1 / beside - 1 / bench.input_resistance_ohm, 1e-12);
    return SeenByLoad{median(by_difference), alone};
}

// open = 1 / (1 + j w R C) but for the inputs' gains: C as it would be with the declared R, from the upper half of the
// band, where it turns the phase most.
std::optional<double> capacitance_seen(const dsp::Response& open, double reference_ohm) {
    std::vector<double> seen;
    for (std::size_t k = open.ratio.size() / 2; k < open.ratio.size(); ++k) {
        const Complex inverse = 1.0 / open.ratio[k];
        seen.push_back(inverse.imag() / inverse.real() / (2 * std::numbers::pi * open.frequency_hz[k] * reference_ohm));
    }
    if (seen.empty()) return std::nullopt;
    return median(seen);
}

// Rms of the open lead's ratio about a smooth curve, its noise taken off. The curve is that of the inverse, which is a
// straight line for any lead (1 + j w R C) but for the inputs' own responses.
double ripple_of(const dsp::Response& open) {
    const double top = kSmoothUpTo * open.frequency_hz.back();
    const auto end = std::upper_bound(open.frequency_hz.begin(), open.frequency_hz.end(), top);
    const auto n = static_cast<Eigen::Index>(end - open.frequency_hz.begin());
    if (n < 8 * kSmoothTerms) return 0;
    Eigen::MatrixXcd powers(n, kSmoothTerms);
    Eigen::VectorXcd inverse(n);
    double noise = 0;
    for (Eigen::Index k = 0; k < n; ++k) {
        const auto bin = static_cast<std::size_t>(k);
        // Chebyshev polynomials, which keep the normal equations well conditioned.
        const double x = 2 * open.frequency_hz[bin] / top - 1;
        // An error of the ratio m is m^2 times that of its inverse.
        const Complex scale = open.ratio[bin] * open.ratio[bin];
        powers(k, 0) = scale;
        powers(k, 1) = scale * x;
        for (Eigen::Index i = 2; i < kSmoothTerms; ++i) powers(k, i) = 2 * x * powers(k, i - 1) - powers(k, i - 2);
        inverse[k] = open.ratio[bin];
        noise += open.variance[bin] / static_cast<double>(n);
    }
    const Eigen::VectorXcd smooth = (powers.adjoint() * powers).ldlt().solve(powers.adjoint() * inverse);
    const double left = (inverse - powers * smooth).squaredNorm() / static_cast<double>(n);
    return std::sqrt(std::max(0.0, left - noise));
}

}  // namespace

std::optional<Finding> judge_bench(const dsp::Standards& standards, const dsp::BenchValues& bench,
                                   const BenchTolerances& tolerances, bool one_input) {
    // With all three standards a loop is corrected like anything else that is linear.
    if (standards.open && !one_input && !(standards.short_circuit && standards.load)) {
        const double ripple = ripple_of(*standards.open);
        if (ripple > kRipple) {
            return Finding{
                FindingCode::correction_stale, Weight::caution,
                fmt::format("the open standard ripples by {:.2g} % along frequency: input 2 hears what is "
                            "played by a second way; switch off monitoring and mixer loops, or measure short "
                            "and load as well, which take it out",
                            100 * ripple)};
        }
    }
    if (standards.load && bench.load_ohm > 0) {
        const auto seen = seen_by_load(standards, bench);
        const double limit = kResistor + tolerances.reference_relative + tolerances.load_relative +
                             (standards.open ? 0 : 2 * tolerances.channel_gain_relative);
        const auto off = [&](double ohm) { return std::abs(ohm / bench.reference_ohm - 1) > limit; };
        // An input of low resistance spoils the one, inputs of different gain the other; a wrong resistor both.
        if (seen && off(seen->whatever_gain_ohm) && (one_input || off(seen->whatever_input_ohm)) &&
            !(one_input && !standards.open)) {
            return Finding{
                FindingCode::correction_stale, Weight::caution,
                fmt::format("against the load of {} the reference resistor looks like {}, not {}: check both "
                            "values, and that nothing between the inputs sets levels by itself",
                            record::ohm_text(bench.load_ohm, 3), record::ohm_text(seen->whatever_gain_ohm, 3),
                            record::ohm_text(bench.reference_ohm, 3))};
        }
        return std::nullopt;
    }
    if (!standards.open || one_input || !(bench.input_capacitance_f > 0)) return std::nullopt;
    const auto seen = capacitance_seen(*standards.open, bench.reference_ohm);
    if (!seen) return std::nullopt;
    const double ratio = *seen / bench.input_capacitance_f;
    if (ratio < kCapacitanceFactor && ratio > 1 / kCapacitanceFactor) return std::nullopt;
    return Finding{
        FindingCode::correction_stale, Weight::caution,
        fmt::format(
            "with a reference of {} the open lead shows {} where {} is declared: check the resistor's value and "
            "--input-c (frequency and Q do not depend on them, the resistance does)",
            record::ohm_text(bench.reference_ohm, 3), record::format_quantity(*seen, record::Unit::farad, 3),
            record::format_quantity(bench.input_capacitance_f, record::Unit::farad, 3))};
}

}  // namespace coldtune::measure
