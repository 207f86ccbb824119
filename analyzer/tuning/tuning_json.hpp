// Comparison and tuning as a machine reads them. Full digits, null where a value is unknown or was rejected.
//
// coldtune.compare.v1: verdict, findings [{code, weight, text}], bare and loaded {file, frequency_hz, frequency_u95_hz,
//   way}, shift null or {shift_hz, shift_u95_hz, percent, percent_u95}, added null or {capacitance_f,
//   capacitance_u95_f, meaning, inductance "measured" | "described", budget [{source, capacitance_u_f}]}, calculated
//   null or {capacitance_f, capacitance_u95_f, isolated_f, budget}, difference_percent, instead null or {frequency_hz,
//   frequency_u95_hz, capacitance_ratio}.
// coldtune.tune.v1: verdict ("tuned", "undecided", "move-tap", "change-capacitor", "rejected"), findings, allowance,
//   secondary {file, way, frequency_hz, frequency_u95_hz}, tuning null or {target_hz, target_u95_hz, tank_hz,
//   tank_u95_hz, tank_turns, mismatch_percent, mismatch_u95_percent, tuned_within_percent, lowest_hz, highest_hz,
//   taps [{file, turns, frequency_hz or inductance_h, u95, residual_percent}], inductance_scale, lead_inductance_h,
//   lead_inductance_u95_h, advice null or {tap_turns, tap_u95_turns, mark, past_mark_m, along_u95_m, conductor_m,
//   move_turns, move_m}, out_of_reach null or {side, by_percent, capacitance_f, turns_needed}, capacitor {needed_f,
//   change_f, preferred_f, preferred_hz, series_f}}, steps [{key, state, text}], reminders, cautions.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "analyzer/tuning/compare.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::tuning {

nlohmann::ordered_json to_json(const CompareResult& result);
nlohmann::ordered_json to_json(const TuneRequest& request, const TuneResult& result);

}  // namespace coldtune::tuning
