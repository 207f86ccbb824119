// Whether the measurements that a tune rests on belong together.
#pragma once

#include <vector>

#include "analyzer/measure/spark_figures.hpp"
#include "analyzer/tuning/remark.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::tuning {

// Remarks on everything that contradicts the description or another measurement, and the cautions that the results
// brought along. Errors (usage): a result of the wrong kind, one given twice; (bad_input): see tune().
Result<std::vector<Remark>> judge_evidence(const TuneRequest& request);

// Resonance analysed with a description whose top load is another; empty when it agrees.
std::optional<Remark> topload_contradiction(const measure::KnownResult& result,
                                            const std::vector<model::TopLoadBody>& expected, std::string_view who);

// The same of the circuits measured together (`name`), before their energy exchange is told: cautions where they were
// not the ones that stand there. `tank_turns` is where the tap is now, if that is known.
std::vector<Remark> judge_exchange(const measure::SparkInputs& inputs, std::string_view name,
                                   const model::CoilDescription& coil, std::string_view coil_name,
                                   std::optional<double> tank_turns);

}  // namespace coldtune::tuning
