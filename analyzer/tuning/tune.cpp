#include "analyzer/tuning/tune.hpp"

#include <fmt/format.h>

#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/tuning/clock_share.hpp"
#include "analyzer/tuning/evidence.hpp"

namespace coldtune::tuning {
namespace {

using measure::KnownResult;
using measure::KnownValue;
using measure::Weight;
using record::format_quantity;
using record::Unit;

// What was measured lies as far from the described primary as chance allows once in a hundred: look; once in a
// million: it is another primary, and nothing may be reckoned from it.
constexpr double kUnlikely = 0.01;
constexpr double kImpossible = 1e-6;
constexpr double kMostTurnsMore = 3;  // how much larger a primary is thought of when the target lies too low

struct Evidence {
    MeasuredTap::What what = MeasuredTap::What::tank_frequency;
    const KnownValue* value = nullptr;
};

// A loading series tells the tank's resonance and its inductance. With capacitors much larger than the tank's own the
// resonance is a far extrapolation; inductance and described capacitor together then say more.
Evidence evidence_of(const KnownResult& k, const model::CoilDescription& coil) {
    if (!k.tank_resonance) return {MeasuredTap::What::winding_inductance, &*k.inductance};
    if (k.inductance) {
        const double by_frequency = k.tank_resonance->u95 / k.tank_resonance->value;
        const double by_inductance =
            std::hypot(k.inductance->u95 / k.inductance->value,
                       2 * model::tank_limits_or_defaults(coil).capacitance_relative / std::numbers::sqrt3) /
            2;
        if (by_inductance < by_frequency) return {MeasuredTap::What::tank_inductance, &*k.inductance};
    }
    return {MeasuredTap::What::tank_frequency, &*k.tank_resonance};
}

// In the order given, the one the tank stands at last.
std::vector<TapResult> all_taps(const TuneRequest& r) {
    std::vector<TapResult> taps = r.taps;
    if (r.primary) taps.push_back({r.coil.tank->tap_turns.value_or(r.coil.primary->turns), *r.primary});
    return taps;
}

double tap_at(const PrimaryFit& fit, double target_hz, double least, double most) {
    const auto off = [&](double tap) { return fit.frequency_hz(tap) - target_hz; };
    std::uintmax_t rounds = 100;
    const auto close = [](double a, double b) { return std::abs(a - b) < 1e-10 * std::abs(b); };
    const auto [a, b] = boost::math::tools::toms748_solve(off, least, most, close, rounds);
    return 0.5 * (a + b);
}

// A primary wound on, turn by turn, until it reaches; nullopt when a primary three times as long does not.
std::optional<double> turns_needed(const TuneRequest& r, const std::vector<MeasuredTap>& taps, double target_hz) {
    model::CoilDescription longer = r.coil;
    longer.primary->turns *= kMostTurnsMore;
    const auto fit = PrimaryFit::build(longer, taps);
    if (!fit || fit->frequency_hz(longer.primary->turns) > target_hz) return std::nullopt;
    return tap_at(*fit, target_hz, r.coil.primary->turns, longer.primary->turns);
}

TapAdvice advise(const PrimaryFit& fit, double target_hz, double least, double present_turns, double others_relative) {
    TapAdvice advice;
    const double turns = tap_at(fit, target_hz, least, fit.primary().turns);
    const double step = std::min(0.01, 0.1 * turns);
    const double slope = std::abs(std::log(fit.frequency_hz(turns) / fit.frequency_hz(turns - step))) / step;
    const double relative = std::hypot(fit.frequency_u_relative(turns), others_relative, fit.clip_u_relative(turns));
    advice.turns = {turns, 2 * relative / slope};
    // The nearest mark there is: the shortest way to measure along the conductor.
    advice.mark = static_cast<int>(std::min(std::round(turns), std::floor(fit.primary().turns)));
    advice.conductor_m = model::primary_conductor_length_m(fit.primary(), turns);
    advice.past_mark_m = advice.conductor_m - model::primary_conductor_length_m(fit.primary(), advice.mark);
    advice.along_u95_m = advice.turns.u95 * kClipLimit_m / fit.clip_turns(turns);
    advice.move_turns = turns - present_turns;
    advice.move_m = advice.conductor_m - model::primary_conductor_length_m(fit.primary(), present_turns);
    return advice;
}

OutOfReach out_of_reach(const TuneRequest& r, const std::vector<MeasuredTap>& taps, const PrimaryFit& fit,
                        const Tuning& t) {
    OutOfReach out;
    out.too_low = t.target_hz.value < t.lowest_hz;
    const double nearest = out.too_low ? t.lowest_hz : t.highest_hz;
    out.by_relative = std::abs(t.target_hz.value / nearest - 1);
    out.capacitance_f = fit.capacitance_f() * std::pow(nearest / t.target_hz.value, 2);
    if (out.too_low) out.turns_needed = turns_needed(r, taps, t.target_hz.value);
    return out;
}

Tuning work_out(const TuneRequest& r, const std::vector<TapResult>& given, const std::vector<MeasuredTap>& measured,
                const PrimaryFit& fit) {
    Tuning t;
    const KnownValue& secondary = *r.secondary.resonance;
    const TapResult& present = given.back();
    t.secondary_hz = {secondary.value, secondary.u95};
    t.target_hz = {secondary.value * (1 - r.allowance), secondary.u95 * (1 - r.allowance)};
    for (std::size_t i = 0; i < given.size(); ++i) {
        const bool inductance = measured[i].what != MeasuredTap::What::tank_frequency;
        const KnownValue& v = *evidence_of(given[i].result, r.coil).value;
        t.taps.push_back({given[i].result.name, given[i].turns, inductance, {v.value, v.u95}, fit.residuals()[i]});
    }
    t.tank_turns = present.turns;
    t.scale = fit.scale(present.turns);
    t.leads_h = {fit.lead_inductance_h(), fit.lead_inductance_u95_h()};

    const ClockShare of_secondary = clock_share(secondary),
                     of_tank = clock_share(*evidence_of(present.result, r.coil).value);
    const double clock = same_clock(r.secondary, present.result) ? std::abs(of_secondary.clock - of_tank.clock)
                                                                 : std::hypot(of_secondary.clock, of_tank.clock);
    const double others = std::hypot(of_secondary.rest, clock);
    double tank_relative = of_tank.rest;
    if (measured.back().what == MeasuredTap::What::tank_frequency) {
        t.tank_hz = {present.result.tank_resonance->value, present.result.tank_resonance->u95};
    } else {
        tank_relative = fit.frequency_u_relative(present.turns);
        t.tank_hz.value = fit.frequency_hz(present.turns);
        t.tank_hz.u95 = 2 * tank_relative * t.tank_hz.value;
    }
    t.mismatch = {t.tank_hz.value / t.target_hz.value - 1, 2 * std::hypot(others, tank_relative)};
    t.tuned_within = std::abs(t.mismatch.value) + t.mismatch.u95;

    const double least = std::min(kLeastTap, fit.primary().turns);
    t.lowest_hz = fit.frequency_hz(fit.primary().turns);
    t.highest_hz = fit.frequency_hz(least);
    if (t.target_hz.value > t.lowest_hz && t.target_hz.value < t.highest_hz) {
        t.advice = advise(fit, t.target_hz.value, least, present.turns, others);
    } else {
        t.out_of_reach = out_of_reach(r, measured, fit, t);
    }
    t.lowest_u95_hz = 2 * fit.frequency_u_relative(fit.primary().turns) * t.lowest_hz;
    t.highest_u95_hz = 2 * fit.frequency_u_relative(least) * t.highest_hz;
    t.capacitor = capacitor_change(fit.capacitance_f(), t.tank_hz.value, t.target_hz.value);
    // C goes with 1/f^2; the described capacitor's own limit scales it.
    t.capacitor_u95_relative = std::hypot(
        2 * t.mismatch.u95, 2 * model::tank_limits_or_defaults(r.coil).capacitance_relative / std::numbers::sqrt3);
    return t;
}

Outcome outcome_of(const Tuning& t) {
    const double off = std::abs(t.mismatch.value);
    if (off <= kTunedWindow && t.tuned_within <= 2 * kTunedWindow) return Outcome::tuned;
    if (off <= std::max(kTunedWindow, t.mismatch.u95)) return Outcome::undecided;
    return t.advice ? Outcome::move_tap : Outcome::change_capacitor;
}

}  // namespace

std::string_view outcome_name(Outcome outcome) {
    switch (outcome) {
        case Outcome::tuned:
            return "tuned";
        case Outcome::undecided:
            return "undecided";
        case Outcome::move_tap:
            return "move-tap";
        case Outcome::change_capacitor:
            return "change-capacitor";
        case Outcome::rejected:
            return "rejected";
    }
    return "rejected";
}

Outcome TuneResult::outcome() const {
    return tuning ? outcome_of(*tuning) : Outcome::rejected;
}

Result<TuneResult> tune(const TuneRequest& r) {
    if (!(r.allowance >= 0 && r.allowance <= 0.2)) {
        return usage_error(fmt::format("the allowance of {:.4g} % for spark loading must lie between 0 and 20 %{}",
                                       100 * r.allowance,
                                       r.allowance > 0.2 ? "; write 3% or 0.03 for three per cent" : ""));
    }
    auto remarks = judge_evidence(r);
    if (!remarks) return remarks.error();
    const std::vector<TapResult> given = all_taps(r);
    std::vector<MeasuredTap> measured;
    for (const TapResult& t : given) {
        const Evidence e = evidence_of(t.result, r.coil);
        measured.push_back({t.result.name, t.turns, e.what, e.value->value, clock_share(*e.value).rest});
    }
    const auto fit = PrimaryFit::build(r.coil, measured);
    if (!fit) return fit.error();

    TuneResult out;
    out.allowance = r.allowance;
    out.remarks = std::move(*remarks);
    if (fit->chance() < kUnlikely) {
        const bool impossible = fit->chance() < kImpossible;
        out.remarks.push_back(
            {"primary-differs", impossible ? Weight::reject : Weight::caution,
             fmt::format("what was measured does not fit the described primary and capacitor (chance {}; the tank "
                         "has {:.3g} times the calculated inductance): count the turns to the tap, check the capacitor "
                         "and, with several taps, that each is where it is said to be",
                         impossible ? std::string("under one in a million") : fmt::format("{:.1g}", fit->chance()),
                         fit->scale(given.back().turns))});
    }
    const bool reject = verdict_of(out.remarks) == measure::Verdict::rejected;
    if (!reject) {
        out.tuning = work_out(r, given, measured, *fit);
        if (const auto& far = out.tuning->out_of_reach) {
            out.remarks.push_back(
                {"out-of-reach", Weight::caution,
                 fmt::format("the target of {} lies {:.2g} % {} what the primary reaches ({} to {})",
                             format_quantity(out.tuning->target_hz.value, Unit::hertz), 100 * far->by_relative,
                             far->too_low ? "below" : "above", format_quantity(out.tuning->lowest_hz, Unit::hertz),
                             format_quantity(out.tuning->highest_hz, Unit::hertz))});
        }
    }
    Progress progress;
    progress.described = true;
    progress.has_topload = !r.coil.topload.empty();
    progress.bare = r.bare.has_value();
    progress.secondary = true;
    progress.taps = given.size();
    // Only a measured tank proves anything; a winding's inductance leaves capacitor and leads to be believed.
    progress.tuned = out.tuning && outcome_of(*out.tuning) == Outcome::tuned &&
                     measured.back().what != MeasuredTap::What::winding_inductance;
    progress.contradicted = reject;
    out.steps = steps_of(progress);
    return out;
}

}  // namespace coldtune::tuning
