#include "analyzer/tuning/evidence.hpp"

#include <fmt/format.h>

#include <cmath>
#include <set>

#include "analyzer/measure/described_json.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::tuning {
namespace {

using measure::KnownResult;
using measure::Weight;
using record::format_quantity;
using record::Unit;

bool differ(double a, double b) {
    return std::abs(a - b) > 1e-6 * std::abs(b);
}

Status check_kinds(const TuneRequest& r) {
    std::set<std::string> names{r.secondary.name};
    const auto once = [&](const KnownResult& result) { return names.insert(result.name).second; };
    const auto twice = [](const KnownResult& result) {
        return usage_error(fmt::format("{} is given twice; a result counts once", result.name));
    };
    if (!r.secondary.resonance) {
        return usage_error(
            fmt::format("{}: not a resonance of the secondary; give a result of foot, pickup, a loading "
                        "series or combine",
                        r.secondary.name));
    }
    if (r.bare && !r.bare->resonance) {
        return usage_error(fmt::format("{}: not a resonance of the secondary", r.bare->name));
    }
    if (r.bare && !once(*r.bare)) return twice(*r.bare);
    const auto of_primary = [](const KnownResult& k) {
        return k.tank_resonance || (k.inductance && k.hookup == bench::Hookup::winding);
    };
    const auto wrong = [](const KnownResult& k) {
        return usage_error(
            fmt::format("{}: says nothing about the primary; give a result of hookup tank, or of hookup "
                        "winding on the primary",
                        k.name));
    };
    if (r.primary) {
        if (!of_primary(*r.primary)) return wrong(*r.primary);
        if (!once(*r.primary)) return twice(*r.primary);
    }
    for (const TapResult& t : r.taps) {
        if (!of_primary(t.result)) return wrong(t.result);
        if (!once(t.result)) return twice(t.result);
    }
    return Done{};
}

void judge_reference(const KnownResult& k, std::vector<Remark>& out) {
    if (!k.bench.noted_reference_ohm || !(k.bench.reference_ohm > 0)) return;
    if (!differ(*k.bench.noted_reference_ohm, k.bench.reference_ohm)) return;
    out.push_back({"other-reference", Weight::caution,
                   fmt::format("{}: the capture says it was taken over {}, the analysis was told {}; analyse it again "
                               "with the resistor that was in place",
                               k.name, format_quantity(*k.bench.noted_reference_ohm, Unit::ohm),
                               format_quantity(k.bench.reference_ohm, Unit::ohm))});
}

void judge_tank(const TuneRequest& r, const KnownResult& k, std::optional<double> stated_turns,
                std::vector<Remark>& out) {
    if (!k.tank_resonance || !k.described || !k.described->tank) return;
    const model::Tank& was = *k.described->tank;
    if (differ(was.capacitance_f, r.coil.tank->capacitance_f)) {
        out.push_back({"other-capacitor", Weight::reject,
                       fmt::format("{}: analysed with a tank capacitor of {}, but {} names {}; measure the tank as it "
                                   "stands now, or analyse the capture again with this description",
                                   k.name, format_quantity(was.capacitance_f, Unit::farad), r.coil_name,
                                   format_quantity(r.coil.tank->capacitance_f, Unit::farad))});
    }
    const double turns = r.coil.primary->turns;
    const double was_turns = was.tap_turns.value_or(turns);
    const double is_turns = stated_turns.value_or(r.coil.tank->tap_turns.value_or(turns));
    if (!differ(was_turns, is_turns)) return;
    if (stated_turns) {
        out.push_back({"other-tap", Weight::note,
                       fmt::format("{}: analysed as tapped at {:.6g} turns; taken as {:.6g}, as stated here", k.name,
                                   was_turns, is_turns)});
    } else {
        out.push_back({"other-tap", Weight::reject,
                       fmt::format("{}: analysed as tapped at {:.6g} turns, but {} says {:.6g}; say where the tap was "
                                   "(--tap TURNS={})",
                                   k.name, was_turns, r.coil_name, is_turns, k.name)});
    }
}

void judge_clock(const KnownResult& a, const KnownResult& b, std::vector<Remark>& out) {
    if (a.bench.device.empty() || b.bench.device.empty() || a.bench.device == b.bench.device) return;
    out.push_back({"other-clock", Weight::note,
                   fmt::format("{} was measured on '{}', {} on '{}'; their clocks are taken as independent", a.name,
                               a.bench.device, b.name, b.bench.device)});
}

}  // namespace

std::optional<Remark> topload_contradiction(const KnownResult& result, const std::vector<model::TopLoadBody>& expected,
                                            std::string_view who) {
    if (!result.described || measure::same_topload(result.described->topload, expected)) return std::nullopt;
    return Remark{"other-top-load", Weight::reject,
                  fmt::format("{}: measured with {}, but {} names {}; measure the secondary as it will stand, or give "
                              "the description that belongs to this measurement",
                              result.name, measure::topload_name(result.described->topload), who,
                              measure::topload_name(expected))};
}

Result<std::vector<Remark>> judge_evidence(const TuneRequest& r) {
    if (!r.coil.primary || !r.coil.tank) {
        return bad_input(
            fmt::format("{}: describe the primary and the tank; the tap is reckoned from them", r.coil_name));
    }
    if (const Status fine = check_kinds(r); !fine) return fine.error();
    const auto calculated = model::calculate(r.coil);
    if (!calculated) return calculated.error();

    std::vector<Remark> out;
    if (auto other = topload_contradiction(r.secondary, r.coil.topload, r.coil_name)) {
        out.push_back(std::move(*other));
    } else if (r.secondary.calculated_hz && differ(*r.secondary.calculated_hz, calculated->frequency_hz)) {
        out.push_back({"other-coil", Weight::caution,
                       fmt::format("{}: analysed with another description (calculated {}, {} gives {}); see that it is "
                                   "the same coil and analyse it again",
                                   r.secondary.name, format_quantity(*r.secondary.calculated_hz, Unit::hertz, 6),
                                   r.coil_name, format_quantity(calculated->frequency_hz, Unit::hertz, 6))});
    } else if (!r.secondary.described && !r.coil.topload.empty()) {
        out.push_back({"top-load-unknown", Weight::note,
                       fmt::format("{}: does not say which top load was in place; see that it was {}", r.secondary.name,
                                   measure::topload_name(r.coil.topload))});
    }
    if (r.bare && r.bare->described && !r.bare->described->topload.empty()) {
        out.push_back({"other-top-load", Weight::caution,
                       fmt::format("{}: given as the bare coil, but measured with {}", r.bare->name,
                                   measure::topload_name(r.bare->described->topload))});
    }
    const auto judge = [&](const KnownResult& k, std::optional<double> turns) {
        judge_tank(r, k, turns, out);
        judge_clock(r.secondary, k, out);
        judge_reference(k, out);
        carry_findings(k, out);
    };
    judge_reference(r.secondary, out);
    carry_findings(r.secondary, out);
    for (const TapResult& t : r.taps) judge(t.result, t.turns);
    if (r.primary) judge(*r.primary, std::nullopt);
    return out;
}

}  // namespace coldtune::tuning
