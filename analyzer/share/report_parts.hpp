// The report's sections, each as a piece of HTML (internal to report*.cpp).
#pragma once

#include <string>
#include <string_view>

#include "analyzer/share/report.hpp"

namespace coldtune::share {

// Text for HTML and XML: valid UTF-8, no control characters, < > & and both quotes written out.
std::string escaped_html(std::string_view text);
// "2026-11-27 14:05:00" of a time as files write it, anything else as it is.
std::string shown_time(std::string text);
// "+-" as the sign it stands for, then escaped.
std::string plus_minus_html(std::string_view text);
// A sentence of the analyzer's on paper: the same, with a large first letter and a full stop.
std::string sentence_html(std::string_view text);

// Stands where a table has nothing to say.
inline constexpr const char* no_value = "\u2013";

std::string style_sheet();

std::string summary_section(const Report& report);
// Precondition: the report has a description.
std::string coil_section(const Report& report);
std::string wiring_section(const Report& report);
// Secondary and tank as they were last found together; empty without such a run.
std::string pair_section(const Report& report);
std::string runs_section(const Report& report);
std::string budget_section(const Report& report);
std::string tuning_section(const ReportTuning& tuning);
std::string cautions_section(const Report& report);
// Calculated curves come from the description; a run that is not drawn is named with the reason.
Result<std::string> plots_section(const Report& report);

// Hookups of the runs, in the order of the enumeration, each once.
std::vector<bench::Hookup> hookups_of(const Report& report);

}  // namespace coldtune::share
