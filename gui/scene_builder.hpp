// From what the window knows to what the plot shows.
#pragma once

#include <map>
#include <memory>
#include <utility>

#include "analyzer/picture/plot_words.hpp"
#include "gui/picture.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

// The two quantities of a pair, upper pane first.
std::pair<measure::Quantity, measure::Quantity> quantities_of(PlotPair pair);
std::string_view pair_title(PlotPair pair);
// Whether the upper pane of a pair is one to show logarithmically at first.
bool usually_logarithmic(PlotPair pair);

class SceneBuilder {
public:
    PlotScene build(const State& state, const Theme& theme);

private:
    std::shared_ptr<const CurveData> data(const std::shared_ptr<const measure::Curve>& curve,
                                          measure::Quantity quantity);
    struct Kept {
        std::shared_ptr<const measure::Curve> curve;  // kept alive so that its address stays its own
        std::shared_ptr<const CurveData> data;
        bool used = false;
    };
    std::map<std::pair<const measure::Curve*, measure::Quantity>, Kept> kept_;
};

}  // namespace coldtune::gui
