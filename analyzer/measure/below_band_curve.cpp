#include "analyzer/measure/below_band_curve.hpp"

#include <boost/math/tools/toms748_solve.hpp>
#include <optional>

namespace coldtune::measure::below {
namespace {

constexpr double kGroups = 100;
constexpr double kNarrowest = 0.05;  // relative width of the groups at the low end
constexpr std::size_t kFittedPoints = 400;
// What nothing else models: converters' and resistor's residual errors. As relative standard uncertainties of the
// admittance.
constexpr double kSmoothError = 2e-5;        // of the susceptance, bin to bin
constexpr double kPhaseMeasured_rad = 5e-4;  // conductance leaking from the susceptance, load standard used
constexpr double kPhaseDeclared_rad = 3e-3;  // the same, not used
constexpr double kNoisyBin = 0.02;           // relative standard deviation; its square is what the inverse leans by

double median_noise(const dsp::CorrectedResponse& data, std::size_t begin, std::size_t end) {
    std::vector<double> relative;
    for (std::size_t k = begin; k < end; ++k) {
        relative.push_back(std::sqrt(data.impedance_variance[k] / 2) / std::abs(data.impedance[k]));
    }
    const auto middle = relative.begin() + static_cast<std::ptrdiff_t>(relative.size() / 2);
    std::nth_element(relative.begin(), middle, relative.end());
    return *middle;
}

std::optional<Group> pool_capacitance(const dsp::CorrectedResponse& data, std::size_t begin, std::size_t end,
                                      double phase_rad, double beside_f) {
    double weight = 0, f_squared = 0;
    Complex capacitance = 0;
    for (std::size_t k = begin; k < end; ++k) {
        const double f = data.frequency_hz[k];
        const double omega = 2 * std::numbers::pi * f;
        const Complex y = 1.0 / data.impedance[k];
        // An error of Z is y^2 times that of Y: what the ratio's own noise makes of it, free of this bin's luck.
        const double variance = data.impedance_variance[k] * std::norm(y * y) / (omega * omega);
        const double w = variance > 0 ? 1 / variance : 1e40;
        if (!std::isfinite(w) || !std::isfinite(std::abs(y))) continue;
        weight += w;
        f_squared += w * f * f;
        capacitance += w * y / Complex(0, omega);
    }
    if (!(weight > 0) || std::abs(capacitance) == 0) return std::nullopt;
    Group group;
    group.frequency_hz = std::sqrt(f_squared / weight);
    const double omega = 2 * std::numbers::pi * group.frequency_hz;
    group.admittance = Complex(0, omega) * capacitance / weight;
    const double noise = omega * std::sqrt(0.5 / weight);
    const double size = std::abs(group.admittance) + omega * beside_f;
    group.imaginary_sigma = std::hypot(noise, kSmoothError * size);
    group.real_sigma = std::hypot(noise, phase_rad * size);
    return group;
}

}  // namespace

std::vector<Group> pool(const dsp::CorrectedResponse& data, const dsp::Band& band, const dsp::BenchValues& bench) {
    // Capacitance beside the coil that the errors act on too.
    const double beside_f = data.used_open ? 0.0 : bench.input_capacitance_f;
    const double phase_rad = data.used_load ? kPhaseMeasured_rad : kPhaseDeclared_rad;
    std::vector<Group> groups;
    std::size_t first = 0, last = data.frequency_hz.size();
    while (first < last && data.frequency_hz[first] < band.low_hz) ++first;
    while (last > first && data.frequency_hz[last - 1] > band.high_hz) --last;
    if (first == last) return groups;
    const double widest_hz = (data.frequency_hz[last - 1] - data.frequency_hz[first]) / kGroups;
    for (std::size_t begin = first, end = first; begin < last; begin = end) {
        // Narrow at the low end, where what is left of the inputs falls as 1/f.
        const double edge_hz = data.frequency_hz[begin] + std::min(widest_hz, kNarrowest * data.frequency_hz[begin]);
        while (end < last && (end == begin || data.frequency_hz[end] < edge_hz)) ++end;
        // Pooled as elastance (jw/Y) against f^2, in which a single resonance is a straight line: pooling does not bend
        // it, not even close to the resonance.
        // Where single bins are mostly noise the inverse would lean to one side: there the capacitance (Y/jw) is
        // pooled, in which noise only adds, and the curve is flat so far below the resonance.
        if (median_noise(data, begin, end) > kNoisyBin) {
            if (auto group = pool_capacitance(data, begin, end, phase_rad, beside_f)) groups.push_back(*group);
            continue;
        }
        double weight = 0, f_squared = 0;
        Complex elastance = 0;
        for (std::size_t k = begin; k < end; ++k) {
            const double f = data.frequency_hz[k];
            const double omega = 2 * std::numbers::pi * f;
            const double variance = data.impedance_variance[k] * omega * omega;
            const Complex value = Complex(0, omega) * data.impedance[k];
            const double w = variance > 0 ? 1 / variance : 1e40;
            if (!std::isfinite(w) || !std::isfinite(std::abs(value))) continue;
            weight += w;
            f_squared += w * f * f;
            elastance += w * value;
        }
        if (!(weight > 0) || std::abs(elastance) == 0) continue;
        Group group;
        group.frequency_hz = std::sqrt(f_squared / weight);
        const double omega = 2 * std::numbers::pi * group.frequency_hz;
        elastance /= weight;
        group.admittance = Complex(0, omega) / elastance;
        const double noise = omega * std::sqrt(0.5 / weight) / std::norm(elastance);
        const double size = std::abs(group.admittance) + omega * beside_f;
        group.imaginary_sigma = std::hypot(noise, kSmoothError * size);
        group.real_sigma = std::hypot(noise, phase_rad * size);
        groups.push_back(group);
    }
    return groups;
}

Curve fitted_curve(Problem problem, const double* x, double from_hz, double to_hz) {
    problem.groups.clear();
    for (std::size_t i = 0; i < kFittedPoints; ++i) {
        const double share = static_cast<double>(i) / static_cast<double>(kFittedPoints - 1);
        Group g;
        g.frequency_hz = from_hz * std::pow(to_hz / from_hz, share);
        problem.groups.push_back(g);
    }
    const Problem::Members members = problem.members(x);
    Curve curve;
    for (std::size_t i = 0; i < problem.groups.size(); ++i) {
        const Group& g = problem.groups[i];
        const auto& at = members.at[i];
        Complex admittance = at[0] + Problem::tangent_admittance(g, problem.coil_farad(x[kCapacitance])) * x[kTangent] +
                             Complex(0, 2 * std::numbers::pi * g.frequency_hz * problem.stray_prior_f * x[kStray]);
        for (std::size_t k = 1; k < at.size(); ++k) admittance += x[kShapes + static_cast<Eigen::Index>(k) - 1] * at[k];
        curve.frequency_hz.push_back(g.frequency_hz);
        curve.impedance_ohm.push_back(1.0 / admittance);
    }
    return curve;
}

double zero_reactance_hz(const Problem& problem, const double* x) {
    const double mode_hz = problem.family.first_mode_hz() * std::exp(kLogScale * x[kResonance]);
    const auto reactance = [&](double f) {
        Group g;
        g.frequency_hz = f;
        return (1.0 / problem.described(x, g, problem.resistance(x, g))).imag();
    };
    for (const double reach : {1e-3, 1e-2, 5e-2}) {
        const double low = mode_hz * (1 - reach), high = mode_hz * (1 + reach);
        if (!(reactance(low) < 0 && reactance(high) > 0)) continue;
        boost::uintmax_t steps = 60;
        const auto at = boost::math::tools::toms748_solve(reactance, low, high,
                                                          boost::math::tools::eps_tolerance<double>(40), steps);
        return 0.5 * (at.first + at.second);
    }
    return mode_hz;
}

}  // namespace coldtune::measure::below
