// Where a text is broken into lines: between words only, and never between a figure and its unit.
#pragma once

#include <functional>
#include <string>
#include <string_view>

namespace coldtune::gui {

using TextWidth = std::function<float(std::string_view)>;

// The text with line breaks where a line would grow wider than `width`; breaks that are in it stay. A word wider than
// that is cut between two characters.
std::string wrapped(std::string_view text, float width, const TextWidth& width_of);
// The text on one line of that width, its end replaced by an ellipsis where it is longer. Line breaks become spaces.
std::string on_one_line(std::string_view text, float width, const TextWidth& width_of);

}  // namespace coldtune::gui
