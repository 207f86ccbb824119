// The parts of the window, one file each. Every one draws into the current Dear ImGui window and asks for actions.
#pragma once

#include "analyzer/tuning/words.hpp"
#include "gui/picture.hpp"
#include "gui/ui.hpp"

namespace coldtune::gui {

// Mouse gestures on the plot that last longer than a frame.
struct PlotGesture {
    enum class Kind { none, pan, box } kind = Kind::none;
    Point from;
    bool moved = false;
};

void path_bar(const Ui& ui, float width, float height);  // the steps
void status_bar(const Ui& ui, float width, float height);

void coil_fields_panel(const Ui& ui);
void coil_picture_panel(const Ui& ui, Rect area);
void wiring_panel(const Ui& ui);
void wiring_picture_panel(const Ui& ui, Rect area);
void wiring_notes_panel(const Ui& ui);  // cautions of the hookup, and the check
void standards_panel(const Ui& ui);
void standards_picture_panel(const Ui& ui, Rect area);
void sweep_controls(const Ui& ui);
void sweep_outcome(const Ui& ui);
void runs_panel(const Ui& ui);
void comparison_panel(const Ui& ui);  // the selected run against another
void tuning_panel(const Ui& ui);      // the sequence, and what stands in each place
void tuning_outcome_panel(const Ui& ui);

// The verdict on the tune, large. Returns its height.
float tuning_readout(const Ui& ui, float width);
// The large figure: calculated while describing, measured after a sweep. Returns its height.
float calculated_readout(const Ui& ui, float width);
float measured_readout(const Ui& ui, float width);
// The live resonance over the last minute; nothing where nothing was followed.
void history_panel(const Ui& ui, Rect area);
void plot_panel(const Ui& ui, Rect area, PlotCache& cache, PlotGesture& gesture);

void meters(const Ui& ui);
void help_sheet(const Ui& ui);
void cautions_sheet(const Ui& ui);
void budget_sheet(const Ui& ui);

// "3 min ago".
std::string age_words(Clock::time_point then, Clock::time_point now);
std::string verdict_words(measure::Verdict verdict);
Color verdict_color(const Theme& theme, measure::Verdict verdict);
// A sentence of the analyzer as one reads it: with a capital, a proper plus-minus and a full stop.
std::string sentence(std::string text);
// "+0.25", "-1.3"; what rounds to nothing has no sign: "0.00".
std::string signed_fixed(double value, int decimals);
// "0.74 % below calculated (477 Hz)"; nothing where the result was compared with nothing.
std::optional<std::string> difference_from_calculated(const measure::MeasurementResult& result);
// What the analyzer says to a reader at the command line, for one at the window.
std::string window_words(std::string text);
// "63.41 +- 0.02 kHz   Q 130", "k 0.112", "L 78.1 mH", "rejected": what a run's line says.
std::string run_figure(const measure::MeasurementResult& result);
// "Q 130.01 \u00b1 0.03" of a result that has one; where its half-width is not known the text says so.
std::string q_words(const measure::Resonance& r);
// Plus-minus and microseconds as one writes them.
std::string plus_minus(std::string text);
// A sentence with its weight as a coloured edge.
void finding(const Ui& ui, measure::Weight weight, const std::string& text);
// Lines of the analyzer: name, value, remark, as columns where there is room.
void lines_table(const Ui& ui, const std::string& name, const std::vector<tuning::Line>& lines);
// Findings as sentences, each with its weight's colour.
void findings_list(const Ui& ui, const std::vector<measure::Finding>& findings);

}  // namespace coldtune::gui
