// A figure to be read from a metre away, with what belongs to it beside and beneath.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "gui/ui.hpp"

namespace coldtune::gui {

struct Headline {
    std::string small;  // what it is
    std::string large;  // the figure
    std::string after;  // its half-width
    std::vector<std::string> second;
    Color color;
};

// Draws the headline as large as the width allows, up to the readout font. Returns its height.
float draw_headline(const Ui& ui, const Headline& headline, float width, const std::string& name);

// "63.410 +- 0.012 kHz" taken apart: figure and unit large, half-width beside it.
std::pair<std::string, std::string> split_figure(double value, double half_width,
                                                 record::Unit unit = record::Unit::hertz);

}  // namespace coldtune::gui
