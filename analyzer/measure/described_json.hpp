// What a result keeps of the description and of the bench, so that a later look can tell whether two results belong
// together.
//
//   described  null or {name, topload [{shape, outer_diameter_m, tube_diameter_m, diameter_m, height_m}],
//              tank null or {capacitance_f, tap_turns (null = the whole primary), lead_inductance_h}}
//   bench      {device, time_utc, reference_ohm, noted_reference_ohm}, each null where unknown
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

struct Described {
    std::string name;
    std::vector<model::TopLoadBody> topload;  // empty = bare
    std::optional<model::Tank> tank;
};

nlohmann::ordered_json described_json(const std::optional<model::CoilDescription>& description);
nlohmann::ordered_json bench_json(const BenchFacts& bench);

// Read back; nullopt for null, a key missing or anything that is not as written above: nothing is then known.
std::optional<Described> described_of(const nlohmann::ordered_json& json);
BenchFacts bench_of(const nlohmann::ordered_json& json);

// The same bodies of the same sizes, to a millionth.
bool same_topload(const std::vector<model::TopLoadBody>& a, const std::vector<model::TopLoadBody>& b);

// "toroid 300 mm by 80 mm", "sphere 200 mm and disc 400 mm", "no top load".
std::string topload_name(const std::vector<model::TopLoadBody>& topload);

}  // namespace coldtune::measure
