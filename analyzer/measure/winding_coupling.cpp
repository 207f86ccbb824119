// The coupling to the primary, from the winding with the primary open and shorted.
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/measure/declared_values.hpp"
#include "analyzer/measure/winding.hpp"
#include "analyzer/model/primary.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

constexpr double kUnsureCapacitance_f = 5e-12;

// R(f) of a winding, from its 13 points evenly spaced in ln f.
double resistance_at(const WindingFit& fit, double frequency_hz) {
    const auto& curve = fit.resistance_curve;
    for (std::size_t i = 1; i < curve.size(); ++i) {
        if (curve[i].frequency_hz < frequency_hz && i + 1 < curve.size()) continue;
        const double share = std::log(frequency_hz / curve[i - 1].frequency_hz) /
                             std::log(curve[i].frequency_hz / curve[i - 1].frequency_hz);
        return curve[i - 1].resistance_ohm + share * (curve[i].resistance_ohm - curve[i - 1].resistance_ohm);
    }
    return fit.resistance_ohm;
}

// The winding as it would be seen with a primary of no resistance. Per bin Z = jwL (1 - k^2 jw/(jw + rate)) becomes
// jwL (1 - k^2): k^2 jwL rate/(jw + rate) is taken off, behind the winding's own capacitance C across all of it.
dsp::CorrectedResponse without_resistance(dsp::CorrectedResponse data, const WindingFit& open, double k_squared,
                                          double rate) {
    for (std::size_t i = 0; i < data.impedance.size(); ++i) {
        const Complex s(0, 2 * std::numbers::pi * data.frequency_hz[i]);
        const Complex across = s * open.own_capacitance_f;
        const Complex series = 1.0 / (1.0 / data.impedance[i] - across);
        const Complex freed = series - k_squared * s * open.inductance_h * rate / (s + rate);
        data.impedance[i] = 1.0 / (1.0 / freed + across);
    }
    return data;
}

struct Both {
    dsp::CorrectedResponse shorted_data;
    WindingFit open, shorted;
    [[nodiscard]] double k_squared() const { return 1 - shorted.inductance_h / open.inductance_h; }
};

std::optional<Both> both_of(const BenchCaptures& open, const BenchCaptures& shorted) {
    const auto first = dsp::correct(open.coil, open.standards, open.values);
    auto second = dsp::correct(shorted.coil, shorted.standards, shorted.values);
    if (!first || !second) return std::nullopt;
    const auto open_fit = fit_winding(*first);
    const auto shorted_fit = fit_winding(*second);
    if (!open_fit || !shorted_fit) return std::nullopt;
    return Both{std::move(*second), *open_fit, *shorted_fit};
}

// k^2 with the shorted primary's resistance over inductance, `rate` (1/s), taken out.
std::optional<double> k_squared_at(const Both& both, double rate) {
    if (!(rate > 0)) return both.k_squared();
    const auto fit = fit_winding(without_resistance(both.shorted_data, both.open, both.k_squared(), rate));
    if (!fit) return std::nullopt;
    return 1 - fit->inductance_h / both.open.inductance_h;
}

struct Rate {
    double value = 0, u = 0;  // 1/s
};

// Resistance over inductance of the shorted primary. It appears in the winding as k^2 L2 rate / (1 + (rate/w)^2), so
// what is left of it at the middle of the window after taking a rate out tells how much more there is.
std::optional<Rate> rate_of(const Both& both) {
    Rate rate;
    const double k_squared = both.k_squared();
    if (!(k_squared > 0)) return rate;
    const double referred = k_squared * both.open.inductance_h;
    const double low = std::max(both.open.window.low_hz, both.shorted.window.low_hz);
    const double high = std::min(both.open.window.high_hz, both.shorted.window.high_hz);
    const double middle = std::sqrt(low * high);
    rate.u = std::hypot(both.open.resistance_u_ohm, both.shorted.resistance_u_ohm) / referred;
    WindingFit freed = both.shorted;
    constexpr int kRounds = 3;  // each leaves some (rate/w)^2 of the error of the last
    for (int round = 0; round < kRounds; ++round) {
        const double left = (resistance_at(freed, middle) - resistance_at(both.open, middle)) / referred;
        rate.value = std::max(0.0, rate.value + left);
        if (!(rate.value > 0)) break;
        const auto again = fit_winding(without_resistance(both.shorted_data, both.open, k_squared, rate.value));
        if (!again) return std::nullopt;
        freed = *again;
    }
    return rate;
}

}  // namespace

std::variant<Coupling, std::string> find_coupling(const dsp::Response& open_primary,
                                                  const dsp::Response& shorted_primary, const dsp::Standards& standards,
                                                  const dsp::BenchValues& bench, const BenchTolerances& tolerances,
                                                  const std::optional<model::CoilDescription>& description) {
    const BenchCaptures open{open_primary, standards, bench}, shorted{shorted_primary, standards, bench};
    const auto pair = both_of(open, shorted);
    if (!pair) {
        return std::string(
            "one of the two captures shows no inductance: no coupling can be had; tie the head to the return in both "
            "and sweep again");
    }
    // The own capacitance belongs to the winding, whatever the primary does; the primary as a screen moves it by less.
    const double c_open = pair->open.own_capacitance_f, c_shorted = pair->shorted.own_capacitance_f;
    if (std::max(c_open, c_shorted) > 2 * std::min(c_open, c_shorted) + kUnsureCapacitance_f) {
        return std::string(
            "the two captures contradict each other: they are not of one winding with the head tied; sweep both again "
            "and change nothing but the short across the primary");
    }
    const std::string hangs = "the coupling hangs on what was declared about the bench; measure open, short and load";
    const auto rate = rate_of(*pair);
    const auto freed = rate ? k_squared_at(*pair, rate->value) : std::nullopt;
    const auto further = rate ? k_squared_at(*pair, rate->value + rate->u) : std::nullopt;
    if (!freed || !further) return hangs;

    const double ratio = pair->shorted.inductance_h / pair->open.inductance_h;
    struct Part {
        std::string source;
        double u;  // of k^2
    };
    std::vector<Part> parts = {
        {"noise and form of the curve", ratio * std::hypot(pair->open.inductance_u_h / pair->open.inductance_h,
                                                           pair->shorted.inductance_u_h / pair->shorted.inductance_h)}};
    for (const DeclaredValue& value : declared_values(standards, tolerances)) {
        BenchCaptures a = open, b = shorted;
        value.move(a);
        value.move(b);
        const auto moved = both_of(a, b);
        const auto again = moved ? k_squared_at(*moved, rate->value) : std::nullopt;
        if (!again) return hangs;
        parts.push_back({value.source, std::abs(*again - *freed)});
    }
    // The resistance is taken as constant over the band, while skin effect makes less of it at the low end, where it
    // acts: all that was taken off is in doubt (rectangular).
    parts.push_back({"resistance of the shorted primary",
                     std::hypot((*freed - pair->k_squared()) / std::numbers::sqrt3, *further - *freed)});
    double variance = 0;
    for (const Part& part : parts) variance += part.u * part.u;
    const double u = std::sqrt(variance);
    if (*freed < -2 * u) {
        return std::string(
            "the inductance is higher with the primary shorted, which no coupling does: the captures are exchanged, or "
            "something else changed between them; sweep both again");
    }
    if (!(*freed > 2 * u)) {
        return std::string(
            "shorting the primary did not lower the inductance by more than the uncertainty: no coupling is seen; "
            "check that the short is across the primary, and measure the standards");
    }
    Coupling coupling;
    coupling.shorted_inductance_h = pair->shorted.inductance_h;
    coupling.primary_described = description && description->primary;
    coupling.primary_inductance_h = kUsualPrimary_h;
    if (coupling.primary_described) {
        const model::Primary& primary = *description->primary;
        const double tap = description->tank ? description->tank->tap_turns.value_or(primary.turns) : primary.turns;
        coupling.primary_inductance_h = model::primary_inductance_h(primary, tap);
    }
    // The lead lies in series with the primary: 1 - L_shorted / L_open = k^2 L1 / (L1 + lead).
    const double series = 1 + kShortingLead_h / coupling.primary_inductance_h;
    const double lead_u = kShortingLeadLimit_h / std::numbers::sqrt3 / coupling.primary_inductance_h;
    coupling.k = std::sqrt(*freed * series);
    if (!(coupling.k < 1)) {
        return std::string(
            "the two captures give a coupling of 1 or more, which no two coils have; check that the short is across "
            "the primary, and its description");
    }
    parts.push_back({"shorting lead", *freed * lead_u});
    double total = 0;
    for (const Part& part : parts) {
        const double scale = part.source == "shorting lead" ? 1 : series;
        coupling.budget.push_back({part.source, scale * part.u / (2 * coupling.k)});
        total += std::pow(coupling.budget.back().k_u, 2);
    }
    coupling.k_u95 = 2 * std::sqrt(total);
    return coupling;
}

}  // namespace coldtune::measure
