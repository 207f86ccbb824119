// The whole bench on a few pages: one HTML file that needs nothing else, to be read on a screen or printed on A4.
//
// No script, no reference to anything outside, everything that came from a user or a file escaped; well-formed as XML
// too, so that any reader of either can be pointed at it. A rejected run stands in it with its reason and no number.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "analyzer/model/geometry.hpp"
#include "analyzer/share/provenance.hpp"

namespace coldtune::share {

// One measurement as it was kept. Texts may be empty: what is not known is left out.
struct ReportRun {
    std::string name;       // how the table calls it
    std::string time_utc;   // "2026-11-27T14:05:00Z"
    std::string device;     // of the interface
    std::string reference;  // of the resistor, "10 k\u2126"
    std::string note;
    measure::MeasurementResult result;
    int coil_version = 0;        // which description it was analysed with, where there are several; 0 = not told
    std::string not_drawn = {};  // why it has no curve here, where that is known
};

// What `tune` said, when it was asked.
struct ReportTuning {
    std::string verdict;
    std::vector<std::pair<std::string, std::string>> facts;  // "Target", "86.39 kHz"
    std::vector<std::string> sentences;
};

struct Report {
    std::string title;  // empty: the coil's name, else "Coil"
    std::string note;
    std::optional<model::CoilDescription> coil;  // as check_geometry let it pass
    int coil_version = 0;                        // of `coil`, as the runs count them
    std::vector<ReportRun> runs;                 // oldest first
    std::optional<ReportTuning> tuning;
    std::string no_tuning = {};             // why there is none
    std::vector<std::string> remarks = {};  // what is not as it was kept, and what was left out for it
    Provenance provenance;
};

// Of very many runs of a kind so many are drawn, the last ones: more could not be told apart.
inline constexpr std::size_t most_drawn_together = 5;
inline constexpr const char* only_the_last_are_drawn = "only the last 5 of a kind are drawn";

// Errors (bad_input): no run, or a description that cannot be calculated.
Result<std::string> report_html(const Report& report);

// The run the report is about: the last one with a resonance of the secondary, else of anything; null without any.
const ReportRun* main_run(const Report& report);

}  // namespace coldtune::share
