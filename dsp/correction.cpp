// Notation of the derivation. Let m_o and m_s be the ratios of open and short. Every bench that is linear maps Z to
//     Z = K (m - m_s) / (m_o - m),
// so K is all that remains to be known:
//   load measured:  K = Z_load (m_o - m_load) / (m_load - m_s)            (the formula of the header)
//   load predicted: K = R m_o^2 / (m_o - m_s)
// The second follows from putting the declared bench's load into the first: an input Z_in with m_o = Z_in/(R + Z_in)
// and a lead Z_s in series with the coil, seen as m_s = m_o Z_s/(Z_s + R m_o). Z_load cancels. With m_s = 0 (no short
// measured) K = R m_o.
#include "dsp/correction.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string_view>

#include "dsp/is_finite.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

struct Reading {
    Complex value;
    double variance = 0;
};

// Neighbouring bins of a standard further apart than this ratio of frequencies are a hole, not a smooth curve.
constexpr double largest_gap = 2.0;
// Bins count as equal when they differ by less than rounding of a bin frequency computed in another way.
constexpr double same_bin = 1e-9;

// The standard's ratio at a frequency: its own bin where there is one, else a cubic through the two bins on either side
// (fewer at the ends). The ratios of standards are smooth low-order rational functions of frequency, so a local cubic
// errs with the fourth power of the spacing. Its variance is that of the weighted sum.
std::optional<Reading> read_standard(const Response& standard, double frequency_hz) {
    const auto& f = standard.frequency_hz;
    const auto above = static_cast<std::size_t>(std::lower_bound(f.begin(), f.end(), frequency_hz) - f.begin());
    for (const std::size_t i : {above, above - 1}) {
        if (i < f.size() && std::abs(f[i] - frequency_hz) <= same_bin * frequency_hz) {
            return Reading{standard.ratio[i], standard.variance[i]};
        }
    }
    if (above == 0 || above == f.size() || f[above] > largest_gap * f[above - 1]) return std::nullopt;
    const std::size_t first = above >= 2 ? above - 2 : 0;
    const std::size_t last = std::min(above + 1, f.size() - 1);
    Reading result;
    for (std::size_t i = first; i <= last; ++i) {
        double weight = 1;
        for (std::size_t j = first; j <= last; ++j) {
            if (j != i) weight *= (frequency_hz - f[j]) / (f[i] - f[j]);
        }
        result.value += weight * standard.ratio[i];
        result.variance += weight * weight * standard.variance[i];
    }
    return result;
}

Status check_response(const Response& response, std::string_view name, double sample_rate_hz) {
    const std::size_t n = response.frequency_hz.size();
    if (n == 0 || response.ratio.size() != n || response.variance.size() != n) {
        return bad_input(fmt::format("the {} has no usable bins: check that its capture holds the stimulus", name));
    }
    if (std::abs(response.sample_rate_hz - sample_rate_hz) > same_bin * sample_rate_hz) {
        return bad_input(
            fmt::format("the {} was taken at {} Hz but the coil at {} Hz: record both at the same sample rate", name,
                        response.sample_rate_hz, sample_rate_hz));
    }
    return Done{};
}

Status check(const Response& coil, const Standards& standards, const BenchValues& bench) {
    if (!(bench.reference_ohm > 0) || !std::isfinite(bench.reference_ohm)) {
        return bad_input(
            fmt::format("the reference resistor is {} ohm: give its value, greater than zero", bench.reference_ohm));
    }
    if (!(bench.input_resistance_ohm > 0)) {
        return bad_input(
            fmt::format("the input resistance is {} ohm: it must be greater than zero", bench.input_resistance_ohm));
    }
    if (!(bench.input_capacitance_f >= 0) || !std::isfinite(bench.input_capacitance_f)) {
        return bad_input(
            fmt::format("the input capacitance is {} F: it must be zero or more", bench.input_capacitance_f));
    }
    if (!(bench.reference_capacitance_f >= 0) || !std::isfinite(bench.reference_capacitance_f)) {
        return bad_input(fmt::format("the capacitance of the reference resistor is {} F: it must be zero or more",
                                     bench.reference_capacitance_f));
    }
    if (standards.load && (!(bench.load_ohm > 0) || !std::isfinite(bench.load_ohm))) {
        return bad_input(fmt::format("the load standard is {} ohm: give its value, greater than zero", bench.load_ohm));
    }
    if (const auto status = check_response(coil, "coil's response", coil.sample_rate_hz); !status) return status;
    const std::array<std::pair<const std::optional<Response>*, std::string_view>, 3> all{
        {{&standards.open, "open"}, {&standards.short_circuit, "short"}, {&standards.load, "load"}}};
    for (const auto& [standard, name] : all) {
        if (!*standard) continue;
        if (const auto status = check_response(**standard, name, coil.sample_rate_hz); !status) return status;
    }
    return Done{};
}

// K and its logarithmic derivatives with respect to the three ratios.
struct Scale {
    Complex k;
    Complex by_open, by_short, by_load;
};

Scale scale_of(Complex open, Complex shorted, const std::optional<Reading>& load, Complex reference_ohm,
               const BenchValues& bench) {
    if (load) {
        const Complex upper = open - load->value;
        const Complex lower = load->value - shorted;
        return {bench.load_ohm * upper / lower, 1.0 / upper, 1.0 / lower, -1.0 / upper - 1.0 / lower};
    }
    const Complex span = open - shorted;
    return {reference_ohm * open * open / span, 2.0 / open - 1.0 / span, 1.0 / span, 0.0};
}

}  // namespace

Result<CorrectedResponse> correct(const Response& coil, const Standards& standards, const BenchValues& bench) {
    if (const auto status = check(coil, standards, bench); !status) return status.error();
    CorrectedResponse out;
    out.used_open = standards.open.has_value();
    out.used_short = standards.short_circuit.has_value();
    out.used_load = standards.load.has_value();
    const std::size_t most = coil.frequency_hz.size();
    for (auto* part : {&out.frequency_hz, &out.impedance_variance, &out.ratio_variance}) part->reserve(most);
    out.impedance.reserve(most), out.ratio.reserve(most), out.map.reserve(most);
    for (std::size_t i = 0; i < most; ++i) {
        const double f = coil.frequency_hz[i];
        const double w = 2 * std::numbers::pi * f;
        const Complex input_admittance{1 / bench.input_resistance_ohm, w * bench.input_capacitance_f};
        const Complex reference_ohm =
            bench.reference_ohm / Complex(1, w * bench.reference_ohm * bench.reference_capacitance_f);
        std::optional<Reading> open = Reading{1.0 / (1.0 + reference_ohm * input_admittance), 0.0};
        std::optional<Reading> shorted = Reading{};
        std::optional<Reading> load;
        if (standards.open) open = read_standard(*standards.open, f);
        if (standards.short_circuit) shorted = read_standard(*standards.short_circuit, f);
        if (standards.load) load = read_standard(*standards.load, f);
        if (!open || !shorted || (standards.load && !load)) continue;

        const Complex m = coil.ratio[i];
        const Complex m_o = open->value;
        const Complex m_s = shorted->value;
        const Scale scale = scale_of(m_o, m_s, load, reference_ohm, bench);
        const Complex span = m_o - m_s;
        const Complex z = scale.k * (m - m_s) / (m_o - m);
        // First order: the error of the ratio that would move Z as far as the error of each standard does,
        // (dZ/dm_x) / (dZ/dm) with dlnZ/dm = span / ((m - m_s)(m_o - m)).
        const Complex lever = (m - m_s) * (m_o - m) / span;
        const double variance = coil.variance[i] +
                                std::norm(scale.by_open * lever - (m - m_s) / span) * open->variance +
                                std::norm(scale.by_short * lever - (m_o - m) / span) * shorted->variance +
                                (load ? std::norm(scale.by_load * lever) * load->variance : 0.0);
        const Complex slope = scale.k * span / ((m_o - m) * (m_o - m));
        const double impedance_variance = std::norm(slope) * variance;
        // A bin where the coil reads exactly as the open, or a standard reads as another, holds no impedance.
        if (!is_finite(z) || !std::isfinite(impedance_variance) || !is_finite(scale.k) || scale.k == Complex{})
            continue;
        out.frequency_hz.push_back(f);
        out.impedance.push_back(z);
        out.impedance_variance.push_back(impedance_variance);
        out.ratio.push_back(m);
        out.ratio_variance.push_back(variance);
        out.map.push_back(AdmittanceMap{m_o, scale.k * m_s, 1.0, scale.k});
    }
    if (out.frequency_hz.empty()) {
        return bad_input(
            "the coil and its standards have no frequency in common: take them with the same stimulus and settings");
    }
    return out;
}

}  // namespace coldtune::dsp
