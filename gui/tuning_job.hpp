// What the tuning step asks of the analyzer, and what comes back. Runs beside the drawing thread; nothing here is
// computed by the window: comparison and tune are analyzer/tuning's, the spark gap's figures analyzer/measure's.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/spark_figures.hpp"
#include "analyzer/tuning/compare.hpp"
#include "analyzer/tuning/tune.hpp"
#include "gui/tuning_form.hpp"

namespace coldtune::gui {

struct TuningJob {
    std::uint64_t serial = 0;
    std::optional<model::CoilDescription> coil;
    TuningForm form;
    TuningReading reading;
};

struct TuningOutcome {
    std::uint64_t serial = 0;
    std::map<std::string, std::string, std::less<>> complaints;  // by place
    std::map<std::string, std::string, std::less<>> figures;     // by place: what the measurement says, in short
    std::vector<double> tap_turns;                               // as taken, one a tap; 0 = nobody knows
    std::vector<tuning::Step> steps;

    std::optional<tuning::TuneRequest> request;
    std::optional<tuning::TuneResult> tune;
    std::string tune_complaint;

    std::optional<tuning::CompareRequest> compare_request;
    std::optional<tuning::CompareResult> compare;
    std::string compare_complaint;

    std::optional<measure::SparkFigures> spark;
    std::vector<tuning::Remark> spark_remarks;
    std::string spark_complaint;  // also what is still missing for it
};

TuningOutcome work_out(const TuningJob& job);

// Two runs against one another.
struct ComparisonJob {
    std::uint64_t serial = 0;
    Evidence a, b;
    std::optional<tuning::NamedCoil> coil;  // with the top load that one of them carries and the other does not
    std::optional<Evidence> inductance;
};
struct ComparisonOutcome {
    std::uint64_t serial = 0;
    std::optional<tuning::CompareRequest> request;
    std::optional<tuning::CompareResult> compare;
    std::optional<tuning::TopLoadShift> tank_shift;  // of two tanks, b less a: there is no more to compare
    std::string complaint;
};
ComparisonOutcome work_out(const ComparisonJob& job);

}  // namespace coldtune::gui
