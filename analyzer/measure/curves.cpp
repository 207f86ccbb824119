#include "analyzer/measure/curves.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/measure/in_band.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;
constexpr double kDegrees = 180 / std::numbers::pi;

double value_of(Quantity quantity, Complex z) {
    switch (quantity) {
        case Quantity::admittance_magnitude:
            return 1 / std::abs(z);
        case Quantity::admittance_phase:
            return -std::arg(z) * kDegrees;
        case Quantity::conductance:
            return (1.0 / z).real();
        case Quantity::susceptance:
            return (1.0 / z).imag();
        case Quantity::impedance_magnitude:
            return std::abs(z);
        case Quantity::impedance_phase:
            return std::arg(z) * kDegrees;
        case Quantity::resistance:
            return z.real();
        case Quantity::reactance:
            return z.imag();
    }
    return 0;
}

// dY = -dZ / Z^2, so an error keeps its roundness and shrinks by |Z|^2; an angle is the error across over the length.
double half_width_of(Quantity quantity, Complex z, double deviation) {
    const double per_quadrature = 2 * deviation / std::numbers::sqrt2;
    switch (quantity) {
        case Quantity::admittance_magnitude:
        case Quantity::conductance:
        case Quantity::susceptance:
            return per_quadrature / std::norm(z);
        case Quantity::admittance_phase:
        case Quantity::impedance_phase:
            return std::min(180.0, per_quadrature / std::abs(z) * kDegrees);
        case Quantity::impedance_magnitude:
        case Quantity::resistance:
        case Quantity::reactance:
            return per_quadrature;
    }
    return 0;
}

// Frequencies evenly spread in the logarithm, and closing in on each centre from both sides by a constant ratio: fine
// enough for any width without knowing it.
std::vector<double> grid(dsp::Band band, const std::vector<double>& centres) {
    constexpr int kEven = 600, kAround = 120;
    constexpr double kFarthest = 0.2, kNearest = 2e-6;
    std::vector<double> f;
    for (int k = 0; k <= kEven; ++k) {
        f.push_back(band.low_hz * std::pow(band.high_hz / band.low_hz, static_cast<double>(k) / kEven));
    }
    for (double centre : centres) {
        f.push_back(centre);
        for (int k = 0; k <= kAround; ++k) {
            const double away = kFarthest * std::pow(kNearest / kFarthest, static_cast<double>(k) / kAround);
            f.push_back(centre * (1 - away));
            f.push_back(centre * (1 + away));
        }
    }
    std::erase_if(f, [&](double v) { return v < band.low_hz || v > band.high_hz; });
    std::sort(f.begin(), f.end());
    f.erase(std::unique(f.begin(), f.end()), f.end());
    return f;
}

// The header of dsp/resonance_fit.hpp, term by term.
Complex fitted_impedance(const dsp::ResonanceFit& fit, bool series_loss, double frequency_hz) {
    const double omega = 2 * std::numbers::pi * frequency_hz;
    const double x = frequency_hz / fit.frequency_hz;
    const Complex one_plus_ju(1, fit.q * (x - 1 / x));
    const double reactive = omega * fit.background * (1 + fit.background_curvature * x * x);
    if (fit.form == dsp::ResonanceForm::series) {
        return 1.0 / (Complex(0, reactive) + 1 / fit.resistance_ohm / one_plus_ju);
    }
    // Loss in the coil's own conductor, not across the resonator.
    const Complex conductor = series_loss ? Complex(1, -1 / (x * fit.q)) : Complex(1);
    return Complex(fit.offset, reactive) + fit.resistance_ohm * conductor / one_plus_ju;
}

}  // namespace

std::string_view quantity_name(Quantity quantity) {
    switch (quantity) {
        case Quantity::admittance_magnitude:
            return "Admittance";
        case Quantity::admittance_phase:
            return "Phase of the admittance";
        case Quantity::conductance:
            return "Conductance";
        case Quantity::susceptance:
            return "Susceptance";
        case Quantity::impedance_magnitude:
            return "Impedance";
        case Quantity::impedance_phase:
            return "Phase of the impedance";
        case Quantity::resistance:
            return "Resistance";
        case Quantity::reactance:
            return "Reactance";
    }
    return "";
}

std::string_view quantity_unit(Quantity quantity) {
    switch (quantity) {
        case Quantity::admittance_magnitude:
        case Quantity::conductance:
        case Quantity::susceptance:
            return "S";
        case Quantity::admittance_phase:
        case Quantity::impedance_phase:
            return "\u00b0";
        case Quantity::impedance_magnitude:
        case Quantity::resistance:
        case Quantity::reactance:
            return "\u2126";
    }
    return "";
}

Trace trace_of(const Curve& curve, Quantity quantity) {
    Trace trace;
    trace.frequency_hz = curve.frequency_hz;
    trace.value.reserve(curve.impedance_ohm.size());
    for (const Complex& z : curve.impedance_ohm) trace.value.push_back(value_of(quantity, z));
    if (curve.standard_deviation_ohm.size() == curve.impedance_ohm.size()) {
        trace.half_width_95.reserve(curve.impedance_ohm.size());
        for (std::size_t k = 0; k < curve.impedance_ohm.size(); ++k) {
            trace.half_width_95.push_back(
                half_width_of(quantity, curve.impedance_ohm[k], curve.standard_deviation_ohm[k]));
        }
    }
    return trace;
}

Curve calculated_curve(const model::SecondaryModel& model, bench::Hookup hookup, dsp::Band band) {
    Curve curve;
    if (hookup != bench::Hookup::foot && hookup != bench::Hookup::winding) return curve;
    if (!(band.low_hz > 0 && band.high_hz > band.low_hz)) return curve;
    std::vector<double> centres;
    for (double f : model.modes_hz()) {
        if (f > 1.3 * band.high_hz || centres.size() >= 8) break;
        centres.push_back(f);
    }
    curve.frequency_hz = grid(band, centres);
    for (double f : curve.frequency_hz) {
        curve.impedance_ohm.push_back(hookup == bench::Hookup::foot ? 1.0 / model.foot_admittance(f)
                                                                    : model.winding_impedance(f));
    }
    return curve;
}

std::optional<dsp::ResonanceFit> fit_again(const MeasurementResult& result) {
    const Resonance* resonance = result.resonance();
    // A loading series is no curve, below the band there is no second fit, a pickup's is a voltage ratio.
    if (resonance == nullptr || resonance->way != Way::in_band || result.hookup == bench::Hookup::pickup)
        return std::nullopt;
    dsp::CorrectedResponse data;
    data.frequency_hz = result.curve.frequency_hz;
    data.impedance = result.curve.impedance_ohm;
    for (double deviation : result.curve.standard_deviation_ohm) {
        data.impedance_variance.push_back(deviation * deviation);
    }
    if (data.impedance_variance.size() != data.impedance.size()) return std::nullopt;
    // The ratio is the impedance itself: (1 + 0 Y) / (0 + 1 Y).
    data.ratio = data.impedance;
    data.ratio_variance = data.impedance_variance;
    data.map.assign(data.ratio.size(), dsp::AdmittanceMap{1.0, 0.0, 0.0, 1.0});

    const auto form = result.hookup == bench::Hookup::foot ? dsp::ResonanceForm::series : dsp::ResonanceForm::parallel;
    dsp::FitOutcome outcome = dsp::fit_resonance(data, form, fit_options(result.hookup));
    auto* fit = std::get_if<dsp::ResonanceFit>(&outcome);
    if (fit == nullptr) return std::nullopt;
    const double found_hz = form == dsp::ResonanceForm::series ? fit->zero_reactance_hz : fit->frequency_hz;
    if (std::abs(found_hz - resonance->frequency_hz) > std::max(resonance->frequency_u95_hz, 1e-6 * found_hz)) {
        return std::nullopt;
    }
    return std::move(*fit);
}

std::optional<Curve> fitted_curve(const MeasurementResult& result) {
    const Resonance* resonance = result.resonance();
    if (resonance != nullptr && resonance->way == Way::below_band && !result.fitted.frequency_hz.empty()) {
        return result.fitted;
    }
    const auto fit = fit_again(result);
    if (!fit) return std::nullopt;
    Curve curve;
    curve.frequency_hz = grid(fit->window, {fit->frequency_hz});
    const bool series_loss = fit_options(result.hookup).series_loss;
    for (double f : curve.frequency_hz) curve.impedance_ohm.push_back(fitted_impedance(*fit, series_loss, f));
    return curve;
}

}  // namespace coldtune::measure
