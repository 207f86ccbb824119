// Two results on one secondary, without and with its top load: what the top load did.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/known_result.hpp"
#include "analyzer/model/geometry.hpp"
#include "analyzer/tuning/remark.hpp"
#include "analyzer/tuning/top_load.hpp"

namespace coldtune::tuning {

struct NamedCoil {
    model::CoilDescription coil;
    std::string name;
};

struct CompareRequest {
    measure::KnownResult a, b;      // the order does not matter: a top load can only lower the resonance
    std::optional<NamedCoil> coil;  // with its top load; needed for capacitances
    std::optional<measure::KnownResult> inductance;  // of the winding; nullopt: one that a or b brings along
    std::optional<NamedCoil> instead;                // the same secondary with another top load; needs `coil`
};

struct CompareResult {
    std::vector<Remark> remarks;
    measure::KnownResult bare, loaded;
    std::optional<TopLoadShift> shift;      // empty when rejected, and so is all below
    std::optional<Capacitance> added;       // only with a description
    bool inductance_measured = false;       // added rests on a measured inductance, not on the described one
    std::optional<Capacitance> calculated;  // only with a described top load that is the measured one
    std::optional<double> isolated_f;       // of it, alone in space: handbook value, an upper bound for several bodies
    std::optional<Predicted> instead;
    [[nodiscard]] measure::Verdict verdict() const { return verdict_of(remarks); }
    // 100 (added - calculated) / calculated.
    [[nodiscard]] std::optional<double> difference_percent() const;
};

// Errors (usage): the same result twice, a result without a resonance of the secondary, one without an inductance in
// its place, another top load asked for without a description of this one; (bad_input): a description that cannot be
// built, another secondary in `instead`.
Result<CompareResult> compare(const CompareRequest& request);

}  // namespace coldtune::tuning
