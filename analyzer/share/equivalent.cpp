#include "analyzer/share/equivalent.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>

#include "analyzer/measure/curves.hpp"

namespace coldtune::share {
namespace {

constexpr double kTwoPi = 2 * std::numbers::pi;

// With u = Q (f/f0 - f0/f) the reactance of the series branch and w C beside it cancel where u / (1 + u^2) = w C R; the
// smaller root is the resonance. nullopt where there is none.
std::optional<double> offset_u(double omega, double beside_f, double resistance_ohm) {
    const double g = omega * beside_f * resistance_ohm;
    if (!(g < 0.5)) return std::nullopt;
    return g == 0 ? 0 : (1 - std::sqrt(1 - 4 * g * g)) / (2 * g);
}

// R-L-C whose zero of reactance, with `beside_f` in parallel, lies at `frequency_hz`.
FootCircuit foot_circuit(double frequency_hz, double q, double resistance_ohm, double beside_f) {
    FootCircuit c;
    c.resistance_ohm = resistance_ohm;
    c.beside_f = std::max(0.0, beside_f);
    const double u = offset_u(kTwoPi * frequency_hz, c.beside_f, resistance_ohm).value_or(0);
    const double own_hz = frequency_hz / (u / (2 * q) + std::hypot(1, u / (2 * q)));
    c.inductance_h = q * resistance_ohm / (kTwoPi * own_hz);
    c.capacitance_f = 1 / (kTwoPi * own_hz * q * resistance_ohm);
    return c;
}

// Capacitance of the branch and beside it, from the curve below the resonance: without loss
// Im Y / w = C_beside + C / (1 - (f/f0)^2), linear in both.
struct TwoCapacitances {
    double branch_f = 0, beside_f = 0;
};
std::optional<TwoCapacitances> capacitances_below(const measure::Curve& curve, double resonance_hz) {
    const bool weighted = curve.standard_deviation_ohm.size() == curve.frequency_hz.size();
    double s = 0, sa = 0, saa = 0, sy = 0, say = 0;
    for (std::size_t k = 0; k < curve.frequency_hz.size(); ++k) {
        const double f = curve.frequency_hz[k], omega = kTwoPi * f;
        const double ratio = f / resonance_hz;
        const std::complex<double> z = curve.impedance_ohm[k];
        const double capacitance = (1.0 / z).imag() / omega;
        if (!(ratio < 0.95) || !std::isfinite(capacitance)) continue;
        // Of Im Y / w; a curve without noise has that of the arithmetic.
        const double deviation = weighted ? curve.standard_deviation_ohm[k] : 0;
        const double sigma =
            std::max(deviation / std::numbers::sqrt2 / std::norm(z) / omega, 1e-9 * std::abs(capacitance));
        if (!std::isfinite(sigma) || !(sigma > 0)) continue;
        const double w = 1 / (sigma * sigma), a = 1 / (1 - ratio * ratio);
        s += w;
        sa += w * a;
        saa += w * a * a;
        sy += w * capacitance;
        say += w * a * capacitance;
    }
    const double determinant = s * saa - sa * sa;
    if (!(determinant > 1e-12 * s * saa)) return std::nullopt;
    TwoCapacitances c{(s * say - sa * sy) / determinant, (saa * sy - sa * say) / determinant};
    if (c.beside_f < 0) c = {say / saa, 0};
    if (!(c.branch_f > 0)) return std::nullopt;
    return c;
}

Result<Equivalent> foot(const measure::MeasurementResult& result, const measure::Resonance& r) {
    Equivalent e;
    if (r.way == measure::Way::in_band && r.q && r.resistance_ohm) {
        double beside = 0;
        if (const auto fit = measure::fit_again(result)) {
            beside = fit->background * (1 + fit->background_curvature);
        } else {
            e.remarks.emplace_back(
                "capacitance beside the branch not known: the result holds no curve to read it from");
        }
        e.circuit = foot_circuit(r.frequency_hz, *r.q, *r.resistance_ohm, beside);
        return e;
    }
    if (r.way == measure::Way::loading_series) {
        return bad_input("a loading series keeps no response at the foot; export the result of a foot capture");
    }
    const auto c = capacitances_below(result.curve, r.frequency_hz);
    if (!c) {
        return bad_input("no curve to read the capacitances from; analyze with --json --curve keeps one");
    }
    double q = r.q.value_or(0);
    if (!(q > 0)) {
        q = result.calculated ? result.calculated->q : 0;
        e.remarks.emplace_back("Q not measured: the calculated one, of copper loss alone, stands in; expect less");
    }
    if (!(q > 0)) return bad_input("neither a measured nor a calculated Q in it; analyze with --coil");
    const double resistance = 1 / (kTwoPi * r.frequency_hz * c->branch_f * q);
    e.circuit = foot_circuit(r.frequency_hz, q, resistance, c->beside_f);
    e.remarks.emplace_back("read from the curve below the resonance; the band ended before it");
    return e;
}

Result<Equivalent> tank(const measure::MeasurementResult& result, const measure::Resonance& r) {
    if (!r.q || !r.resistance_ohm) {
        return bad_input("a loading series keeps no response of the tank; export the result of a tank capture");
    }
    Equivalent e;
    TankCircuit c;
    // L in series with r across C: R = Q^2 r, Q = w0 L / r (dsp/resonance_fit.hpp, series loss).
    c.resistance_ohm = *r.resistance_ohm / (*r.q * *r.q);
    c.inductance_h = *r.q * c.resistance_ohm / (kTwoPi * r.frequency_hz);
    c.capacitance_f = 1 / (kTwoPi * r.frequency_hz * *r.q * c.resistance_ohm);
    if (const auto fit = measure::fit_again(result)) {
        c.lead_inductance_h = std::max(0.0, fit->background * (1 + fit->background_curvature));
        c.lead_resistance_ohm = std::max(0.0, fit->offset);
    } else {
        e.remarks.emplace_back("leads not known: the result holds no curve to read them from");
    }
    e.circuit = c;
    return e;
}

}  // namespace

double zero_reactance_hz(const FootCircuit& c) {
    const double own_hz = 1 / (kTwoPi * std::sqrt(c.inductance_h * c.capacitance_f));
    const double q = std::sqrt(c.inductance_h / c.capacitance_f) / c.resistance_ohm;
    // g moves with the frequency itself, a little: a few rounds settle it.
    double f = own_hz;
    for (int round = 0; round < 60; ++round) {
        const auto u = offset_u(kTwoPi * f, c.beside_f, c.resistance_ohm);
        if (!u) return own_hz;
        f = own_hz * (*u / (2 * q) + std::hypot(1, *u / (2 * q)));
    }
    return f;
}

Result<Equivalent> equivalent_of(const measure::MeasurementResult& result) {
    if (std::holds_alternative<measure::Rejected>(result.outcome)) {
        return rejected("the measurement was rejected: there is no resonance to make a circuit of; measure again");
    }
    const auto& accepted = std::get<measure::Accepted>(result.outcome);
    if (result.hookup == bench::Hookup::winding && accepted.winding) {
        const measure::WindingValue& w = *accepted.winding;
        Equivalent e;
        e.circuit = WindingCircuit{w.inductance_h, std::max(0.0, w.resistance_ohm), std::max(0.0, w.own_capacitance_f)};
        e.low_hz = w.window.low_hz;
        e.high_hz = w.window.high_hz;
        e.remarks.emplace_back("resistance as at the low end of the window; it rises with frequency");
        return e;
    }
    const measure::Resonance* r = result.resonance();
    const bool known = r != nullptr && (result.hookup == bench::Hookup::foot || result.hookup == bench::Hookup::tank);
    if (!known && result.pair() != nullptr) {
        return bad_input("secondary and tank together are no single circuit; export the result of each by itself");
    }
    if (!known && (result.hookup == bench::Hookup::foot || result.hookup == bench::Hookup::tank)) {
        return bad_input("there is no resonance in it to make a circuit of; export a result that has one");
    }
    if (!known) {
        return bad_input("hookup " + std::string(bench::describe(result.hookup).name) +
                         " gives no circuit; export the result of a foot, tank or winding capture");
    }
    auto e = result.hookup == bench::Hookup::foot ? foot(result, *r) : tank(result, *r);
    if (!e) return e;
    const double q = r->q.value_or(50);
    const double half = std::min(0.5, std::max(5 / q, 1e-3));
    e->low_hz = r->frequency_hz * (1 - half);
    e->high_hz = r->frequency_hz * (1 + half);
    return e;
}

}  // namespace coldtune::share
