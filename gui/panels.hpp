// The parts of the window, one file each. Every one draws into the current Dear ImGui window and asks for actions.
#pragma once

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
// Findings as sentences, each with its weight's colour.
void findings_list(const Ui& ui, const std::vector<measure::Finding>& findings);

}  // namespace coldtune::gui
