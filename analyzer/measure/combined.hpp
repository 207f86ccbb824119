// All known evidence on one coil: one estimate where the results agree, a finding where they do not.
//
// Two quantities, each in its logarithm: the first resonance (in-band, below-band, loading series; a winding's
// inductance turned into a resonance by the described capacitance) and the inductance at low frequency (winding,
// loading series). Weighted least squares with the covariance that the budgets tell:
//   - a part that two results name alike (clock, reference resistor, described capacitance, a shape ...) is one thing
//   that
//     moved both: fully correlated. "noise" and what no budget explains ("other") are independent.
//   - correlation that strong can ask for weights below zero; such a value is left out instead, at the price of a
//   slightly
//     wider interval.
// Consistency: chi square at 95 %. There a part named alike counts as common only between results of the same way and
// for the clock: between different ways its sign is not known, and taking it as common would see disagreement where
// there is none. So what is not known is taken to the worse side both times.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/known_result.hpp"
#include "analyzer/model/geometry.hpp"
#include "analyzer/model/secondary.hpp"

namespace coldtune::measure {

enum class KnownQuantity { resonance, inductance };

// What one result says about one quantity.
struct Statement {
    KnownQuantity quantity = KnownQuantity::resonance;
    std::string name;   // of the result
    std::string route;  // "in-band", "below-band", "loading-series", "winding", "winding and described capacitance"
    double value = 0, u95 = 0;
    double weight = 0;     // in the combination, 0 .. 1; 0 when there is none
    double deviation = 0;  // from what the others say together, in standard uncertainties of the difference
};

struct CombinedValue {
    double value = 0, u95 = 0;
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;
    double chance = 1;  // that chance alone gives a chi square this large
};

struct CombinedResult {
    std::vector<Finding> findings;
    std::vector<Statement> statements;
    std::optional<CombinedValue> resonance, inductance;  // both empty when the evidence disagrees
    std::optional<model::Calculated> calculated;
    std::vector<std::string> assumptions;
    [[nodiscard]] Verdict verdict() const { return verdict_of(findings); }
    [[nodiscard]] std::optional<double> difference_percent() const;
};

// Disagreement (a chance below 5 %) is a rejection with the code `nonlinear`: what was measured is not one and the same
// circuit. Errors (usage): fewer than two results, one given twice, no quantity that two of them speak about;
// (bad_input) results that were analysed with different descriptions, a description that cannot be built.
Result<CombinedResult> combine(const std::vector<KnownResult>& results,
                               const std::optional<model::CoilDescription>& description);

}  // namespace coldtune::measure
