// What an analysis needs besides the coil's own capture, worked out once and good for many captures of the same bench.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/shape_family.hpp"

namespace coldtune::measure {

struct AnalysisContext {
    std::optional<model::Calculated> calculated;           // of the secondary
    std::optional<model::TankCalculated> calculated_tank;  // hookup tank
    dsp::Standards standards;
    std::vector<Finding> findings;  // about the standards
    // Of the description; built when first asked for. Null without a description. Errors: as ShapeFamily::build.
    Result<const ShapeFamily*> family(const std::optional<model::CoilDescription>& description);

private:
    std::optional<ShapeFamily> family_;
};

// `request.coil` needs no samples here: its rate and note tell whether the standards fit. Errors: the description
// cannot be built.
Result<AnalysisContext> prepare(const AnalysisRequest& request);

// Analyses `request.coil` with what was prepared for it.
Result<MeasurementResult> analyze_prepared(const AnalysisRequest& request, AnalysisContext& context);

// The period to believe: the stated one, else the file's own note when the signal bears it out; 0 = none.
std::size_t known_period(const audio::CaptureFile& file, const std::optional<std::size_t>& stated);
// Response of a capture with that period, or broadband with 0. `keep_periods` as in dsp::PeriodicOptions.
Result<dsp::Response> response_of(const audio::CaptureFile& file, std::size_t period, std::size_t settle,
                                  bool keep_periods = false);
std::size_t settle_of(const audio::CaptureFile& file, const std::optional<std::size_t>& stated);
// A standard's own response, or a finding that says why it cannot be used.
std::optional<dsp::Response> standard_response(const Standard& standard, const AnalysisRequest& request,
                                               const char* which, std::vector<Finding>& findings);

}  // namespace coldtune::measure
