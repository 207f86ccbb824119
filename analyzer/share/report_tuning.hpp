// The tuning a report tells of, from the runs it is about.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/share/report.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::share {

// What `tune` is to be asked: the last secondary with its head free and the last tank, as the description has it.
// nullopt without one of them, or without primary and tank in the description. `results` oldest first.
std::optional<tuning::TuneRequest> tune_request(const std::vector<measure::KnownResult>& results,
                                                const model::CoilDescription& coil, std::string coil_name);

// Why `tune_request` gives nothing: what is missing, in words. "" when nothing is; `coil` null without a description.
std::string why_no_tuning(const std::vector<measure::KnownResult>& results, const model::CoilDescription* coil);

// Errors as of tuning::tune.
Result<ReportTuning> tuning_words(const tuning::TuneRequest& request);

}  // namespace coldtune::share
