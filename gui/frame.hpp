// One frame of the window: the layout, the keys, then whatever was asked for. Needs a Dear ImGui context between
// NewFrame and Render, but no screen behind it.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "gui/panels.hpp"

namespace coldtune::gui {

class Frame {
public:
    // `scale`: text scale times the screen's own; `fonts` are loaded for it.
    void draw(App& app, const Fonts& fonts, float scale);

    // Where named things came to lie in the last frame, pixels.
    [[nodiscard]] const std::map<std::string, Rect>& places() const { return places_; }

private:
    void keys(App& app, std::vector<Action>& actions) const;
    void follow_the_hand(const State& s);
    void body(const Ui& ui, Rect area);
    void beside(const Ui& ui, Rect area);
    void sweep_pictures(const Ui& ui, Rect area);
    void stacked(const Ui& ui, Rect area);
    static void step_panel(const Ui& ui);

    PlotCache plot_cache_;
    PlotGesture plot_gesture_;
    std::map<std::string, Rect> places_;
    std::map<std::string, std::string> typing_;
    std::string scroll_to_;
    // A key pressed beside a field, by someone who believes to be in it, must not play or delete anything: from the
    // moment a text field has the keyboard, or the empty part of a form was clicked, keys that could be typed rest.
    bool in_form_ = false;
    int after_leaving_ = 0;  // frames in which Dear ImGui still speaks of the field that was left
    Step step_ = Step::coil;
    float styled_for_ = 0;
    bool styled_dark_ = false;
};

// What Dear ImGui has to know before its first frame: which keys are which, that tabs and arrows move, that nothing
// blinks. Enter presses what is chosen, because the space bar sweeps and stops.
void prepare_imgui();

}  // namespace coldtune::gui
