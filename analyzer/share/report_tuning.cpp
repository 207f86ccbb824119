#include "analyzer/share/report_tuning.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/record/quantity.hpp"
#include "analyzer/tuning/words.hpp"

namespace coldtune::share {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;

std::optional<tuning::TuneRequest> tune_request(const std::vector<measure::KnownResult>& results,
                                                const model::CoilDescription& coil, std::string coil_name) {
    if (!coil.primary || !coil.tank) return std::nullopt;
    const measure::KnownResult *secondary = nullptr, *tank = nullptr;
    for (const measure::KnownResult& result : results) {
        if (result.resonance) secondary = &result;
        if (result.tank_resonance) tank = &result;
    }
    if (secondary == nullptr || tank == nullptr) return std::nullopt;
    tuning::TuneRequest request;
    request.coil = coil;
    request.coil_name = std::move(coil_name);
    request.secondary = *secondary;
    request.primary = *tank;
    return request;
}

std::string why_no_tuning(const std::vector<measure::KnownResult>& results, const model::CoilDescription* coil) {
    std::string missing;
    const auto miss = [&](const char* what) { missing += (missing.empty() ? "" : ", ") + std::string(what); };
    const auto any = [&](auto has) { return std::any_of(results.begin(), results.end(), has); };
    if (!any([](const auto& r) { return r.resonance.has_value(); })) miss("no run gave the resonance of the secondary");
    if (!any([](const auto& r) { return r.tank_resonance.has_value(); })) {
        miss("no run gave that of the tank (hookup tank)");
    } else if (coil == nullptr) {
        miss("the coil of the tank's run is not described (--coil COIL.json)");
    }
    if (coil != nullptr && !coil->primary) miss("the description has no primary");
    if (coil != nullptr && !coil->tank) miss("the description has no tank");
    return missing;
}

Result<ReportTuning> tuning_words(const tuning::TuneRequest& request) {
    const auto result = tuning::tune(request);
    if (!result) return result.error();
    ReportTuning words;
    words.verdict = tuning::verdict_text(*result);
    const auto hertz = [](const tuning::Interval& i) {
        return format_with_uncertainty(i.value, i.u95, Unit::hertz, true);
    };
    if (result->tuning) {
        const tuning::Tuning& t = *result->tuning;
        words.facts.emplace_back("Secondary", fmt::format("{}, {}", hertz(t.secondary_hz), request.secondary.name));
        words.facts.emplace_back("Target",
                                 fmt::format("{}, {:.3g} % below for spark loading (common practice, no source)",
                                             hertz(t.target_hz), 100 * result->allowance));
        words.facts.emplace_back(
            "Tank", fmt::format("{}, {}, tap at {:.4g} turns", hertz(t.tank_hz), request.primary->name, t.tank_turns));
        words.facts.emplace_back(
            "Difference",
            fmt::format("{}{} %", t.mismatch.value < 0 ? "" : "+",
                        format_with_uncertainty(100 * t.mismatch.value, 100 * t.mismatch.u95, Unit::none, true)));
        if (t.advice && result->outcome() != tuning::Outcome::tuned) {
            words.facts.emplace_back("Tap", fmt::format("{} turns: {}",
                                                        format_with_uncertainty(t.advice->turns.value,
                                                                                t.advice->turns.u95, Unit::none, true),
                                                        tuning::place_of_tap(*t.advice)));
        }
        if (t.out_of_reach) {
            words.facts.emplace_back("In reach", fmt::format("{} to {}, the whole primary to one turn",
                                                             format_quantity(t.lowest_hz, Unit::hertz, 4, true),
                                                             format_quantity(t.highest_hz, Unit::hertz, 4, true)));
            words.facts.emplace_back(
                "Capacitor that reaches it",
                fmt::format("{} in all, with {}", format_quantity(t.out_of_reach->capacitance_f, Unit::farad, 4, true),
                            t.out_of_reach->too_low ? "the whole primary" : "one turn"));
        }
    }
    for (const tuning::Remark& remark : result->remarks)
        words.sentences.push_back(fmt::format("{}: {}", remark.code, remark.text));
    return words;
}

}  // namespace coldtune::share
