// What the spark gap does with the energy: the two decaying envelopes after it closes.
#pragma once

#include "analyzer/measure/spark_figures.hpp"
#include "gui/picture.hpp"
#include "gui/theme.hpp"

namespace coldtune::gui {

// Voltages relative to the tank's at the start, the secondary's in units of the limit without loss, so that both begin
// or end at 1. The caution (measure::spark_caution) belongs beside it and is written above the picture's own area.
void draw_spark_exchange(Canvas& canvas, Rect area, const measure::SparkFigures& figures, const Theme& theme,
                         float scale);

}  // namespace coldtune::gui
