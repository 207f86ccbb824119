#include "analyzer/tuning/tuning_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"

#include "analyzer/bench/hookup.hpp"

namespace coldtune::tuning {
namespace {

using Json = nlohmann::ordered_json;
using record::number_or_null;

Json findings_json(const std::vector<Remark>& remarks) {
    Json list = Json::array();
    for (const Remark& r : remarks)
        list.push_back({{"code", r.code}, {"weight", weight_name(r.weight)}, {"text", r.text}});
    return list;
}

Json resonance_json(const measure::KnownResult& k) {
    return {{"file", k.name},
            {"way", k.way},
            {"frequency_hz", number_or_null(k.resonance->value)},
            {"frequency_u95_hz", number_or_null(k.resonance->u95)}};
}

Json budget_json(const Capacitance& c) {
    Json list = Json::array();
    for (const auto& line : c.budget)
        list.push_back({{"source", line.source}, {"capacitance_u_f", number_or_null(line.u_f)}});
    return list;
}

Json tap_json(const Tap& tap) {
    Json j{{"file", tap.name}, {"turns", number_or_null(tap.turns)}};
    j[tap.inductance ? "inductance_h" : "frequency_hz"] = number_or_null(tap.measured.value);
    j["u95"] = number_or_null(tap.measured.u95);
    j["residual_percent"] = number_or_null(100 * tap.residual);
    return j;
}

Json advice_json(const std::optional<TapAdvice>& a) {
    if (!a) return nullptr;
    return {{"tap_turns", number_or_null(a->turns.value)},
            {"tap_u95_turns", number_or_null(a->turns.u95)},
            {"mark", a->mark},
            {"past_mark_m", number_or_null(a->past_mark_m)},
            {"along_u95_m", number_or_null(a->along_u95_m)},
            {"conductor_m", number_or_null(a->conductor_m)},
            {"move_turns", number_or_null(a->move_turns)},
            {"move_m", number_or_null(a->move_m)}};
}

Json reach_json(const std::optional<OutOfReach>& o) {
    if (!o) return nullptr;
    return {{"side", o->too_low ? "below" : "above"},
            {"by_percent", number_or_null(100 * o->by_relative)},
            {"capacitance_f", number_or_null(o->capacitance_f)},
            {"turns_needed", number_or_null(o->turns_needed)}};
}

Json tuning_json(const Tuning& t) {
    Json taps = Json::array();
    for (const Tap& tap : t.taps) taps.push_back(tap_json(tap));
    Json j{{"target_hz", number_or_null(t.target_hz.value)},
           {"target_u95_hz", number_or_null(t.target_hz.u95)},
           {"tank_hz", number_or_null(t.tank_hz.value)},
           {"tank_u95_hz", number_or_null(t.tank_hz.u95)},
           {"tank_turns", number_or_null(t.tank_turns)},
           {"mismatch_percent", number_or_null(100 * t.mismatch.value)},
           {"mismatch_u95_percent", number_or_null(100 * t.mismatch.u95)},
           {"tuned_within_percent", number_or_null(100 * t.tuned_within)},
           {"lowest_hz", number_or_null(t.lowest_hz)},
           {"highest_hz", number_or_null(t.highest_hz)},
           {"lowest_u95_hz", number_or_null(t.lowest_u95_hz)},
           {"highest_u95_hz", number_or_null(t.highest_u95_hz)},
           {"taps", std::move(taps)},
           {"inductance_scale", number_or_null(t.scale)},
           {"lead_inductance_h", number_or_null(t.leads_h.value)},
           {"lead_inductance_u95_h", number_or_null(t.leads_h.u95)},
           {"advice", advice_json(t.advice)},
           {"out_of_reach", reach_json(t.out_of_reach)}};
    j["capacitor"] = {{"needed_f", number_or_null(t.capacitor.needed_f)},
                      {"needed_u95_f", number_or_null(t.capacitor_u95_relative * t.capacitor.needed_f)},
                      {"change_f", number_or_null(t.capacitor.change_f)},
                      {"preferred_f", number_or_null(t.capacitor.preferred_f)},
                      {"preferred_hz", number_or_null(t.capacitor.preferred_hz)},
                      {"series_f", number_or_null(t.capacitor.series_f)}};
    return j;
}

}  // namespace

Json to_json(const CompareResult& c) {
    Json j;
    j["schema"] = "coldtune.compare.v1";
    j["program_version"] = COLDTUNE_VERSION;
    j["verdict"] = measure::verdict_name(c.verdict());
    j["findings"] = findings_json(c.remarks);
    j["bare"] = resonance_json(c.bare);
    j["loaded"] = resonance_json(c.loaded);
    j["shift"] = nullptr;
    if (c.shift) {
        j["shift"] = {{"shift_hz", number_or_null(c.shift->shift_hz)},
                      {"shift_u95_hz", number_or_null(c.shift->shift_u95_hz)},
                      {"percent", number_or_null(100 * c.shift->relative)},
                      {"percent_u95", number_or_null(100 * c.shift->relative_u95)}};
    }
    j["added"] = nullptr;
    if (c.added) {
        j["added"] = {{"capacitance_f", number_or_null(c.added->value_f)},
                      {"capacitance_u95_f", number_or_null(c.added->u95_f)},
                      {"meaning", "lumped, from the head to the return, with the same shift"},
                      {"inductance", c.inductance_measured ? "measured" : "described"},
                      {"budget", budget_json(*c.added)}};
    }
    j["calculated"] = nullptr;
    if (c.calculated) {
        j["calculated"] = {{"capacitance_f", number_or_null(c.calculated->value_f)},
                           {"capacitance_u95_f", number_or_null(c.calculated->u95_f)},
                           {"isolated_f", number_or_null(c.isolated_f)},
                           {"budget", budget_json(*c.calculated)}};
    }
    j["difference_percent"] = number_or_null(c.difference_percent());
    j["instead"] = nullptr;
    if (c.instead) {
        j["instead"] = {{"frequency_hz", number_or_null(c.instead->frequency_hz)},
                        {"frequency_u95_hz", number_or_null(c.instead->frequency_u95_hz)},
                        {"capacitance_ratio", number_or_null(c.instead->capacitance_ratio)}};
    }
    return j;
}

Json to_json(const TuneRequest& request, const TuneResult& result) {
    Json j;
    j["schema"] = "coldtune.tune.v1";
    j["program_version"] = COLDTUNE_VERSION;
    j["verdict"] = outcome_name(result.outcome());
    j["findings"] = findings_json(result.remarks);
    j["allowance"] = number_or_null(result.allowance);
    j["secondary"] = resonance_json(request.secondary);
    j["tuning"] = result.tuning ? tuning_json(*result.tuning) : Json(nullptr);
    j["steps"] = Json::array();
    for (const Step& s : result.steps)
        j["steps"].push_back({{"key", s.key}, {"state", state_name(s.state)}, {"text", s.text}});
    j["reminders"] = Json::array();
    for (const auto& line : bench::before_power_reminders()) j["reminders"].push_back(line);
    j["cautions"] = Json::array();
    for (const auto& line : bench::describe(bench::Hookup::tank).cautions) j["cautions"].push_back(line);
    return j;
}

}  // namespace coldtune::tuning
