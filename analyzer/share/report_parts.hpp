// The report's sections, each as a piece of HTML (internal to report*.cpp).
#pragma once

#include <string>
#include <string_view>

#include "analyzer/share/report.hpp"

namespace coldtune::share {

// Text for HTML and XML: valid UTF-8, no control characters, < > & and both quotes written out.
std::string escaped_html(std::string_view text);
// A sentence of the analyzer's on paper: a proper plus-minus sign, then escaped.
std::string sentence_html(std::string_view text);

std::string style_sheet();

std::string summary_section(const Report& report);
std::string coil_section(const model::CoilDescription& coil);
std::string wiring_section(const Report& report);
std::string runs_section(const Report& report);
std::string budget_section(const Report& report);
std::string tuning_section(const ReportTuning& tuning);
std::string cautions_section(const Report& report);
// Calculated curves come from the description; a run whose curve is no impedance is not drawn.
Result<std::string> plots_section(const Report& report);

// Hookups of the runs, in the order of the enumeration, each once.
std::vector<bench::Hookup> hookups_of(const Report& report);

}  // namespace coldtune::share
