// Whether the measurements that a tune rests on belong together.
#pragma once

#include <vector>

#include "analyzer/tuning/remark.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::tuning {

// Remarks on everything that contradicts the description or another measurement, and the cautions that the results
// brought along. Errors (usage): a result of the wrong kind, one given twice; (bad_input): see tune().
Result<std::vector<Remark>> judge_evidence(const TuneRequest& request);

// Resonance analysed with a description whose top load is another; empty when it agrees.
std::optional<Remark> topload_contradiction(const measure::KnownResult& result,
                                            const std::vector<model::TopLoadBody>& expected, std::string_view who);

}  // namespace coldtune::tuning
