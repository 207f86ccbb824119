// Results as analyze --json would write them, without captures.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>

#include "analyzer/measure/known_result.hpp"
#include "analyzer/measure/result_json.hpp"

namespace coldtune::test {

struct WrittenResult {
    bench::Hookup hookup = bench::Hookup::foot;
    double frequency_hz = 0;
    std::optional<model::CoilDescription> description = {};
    double noise_relative = 1e-5;
    std::string device = "interface";
    double reference_ohm = 10e3, noted_reference_ohm = 10e3;
    std::vector<measure::Finding> findings = {};
};

inline std::string written(const WrittenResult& w) {
    measure::MeasurementResult result;
    result.hookup = w.hookup;
    result.description = w.description;
    result.findings = w.findings;
    if (w.description && w.hookup == bench::Hookup::tank) {
        result.calculated_tank = model::calculate_tank(*w.description);
    } else if (w.description) {
        result.calculated = *model::calculate(*w.description);
    }
    result.bench = {w.device, "2026-11-27T10:00:00Z", w.reference_ohm, w.noted_reference_ohm};
    const double clock = 50e-6 / std::sqrt(3.0);
    measure::Resonance r;
    r.frequency_hz = w.frequency_hz;
    r.frequency_u95_hz = 2 * w.frequency_hz * std::hypot(w.noise_relative, clock);
    r.budget = {{"noise", w.noise_relative * w.frequency_hz, 0, 0}, {"clock", clock * w.frequency_hz, 0, 0}};
    measure::Accepted accepted;
    accepted.resonance = r;
    result.outcome = accepted;
    if (result.verdict() == measure::Verdict::rejected) result.outcome = measure::Rejected{};
    return measure::to_json(result, false).dump();
}

inline measure::KnownResult read_back(const WrittenResult& w, const std::string& name) {
    auto known = measure::parse_any_result(written(w), name);
    if (!known) throw std::runtime_error(known.error().message);
    return std::move(*known);
}

}  // namespace coldtune::test
