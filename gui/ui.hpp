// What every panel draws with: the state to read, the actions to ask for, fonts, colours and a few widgets of ours.
#pragma once

#include <imgui.h>

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "gui/action.hpp"
#include "gui/app.hpp"
#include "gui/fonts.hpp"
#include "gui/imgui_canvas.hpp"
#include "gui/theme.hpp"

namespace coldtune::gui {

struct Ui {
    App& app;
    const State& s;
    const Theme& theme;
    const Fonts& fonts;
    float scale = 1;
    std::vector<Action>& actions;                // carried out after the frame
    std::map<std::string, Rect>& places;         // where named things came to lie, for the tests
    std::map<std::string, std::string>& typing;  // texts that are not part of the state until a button is pressed
    std::string& scroll_to;                      // key of the field to be brought into view; empty: none
    bool in_form = false;                        // the hand is in a form: keys that act alone rest

    void ask(Action a) const { actions.push_back(std::move(a)); }
    [[nodiscard]] float px(float ordinary) const { return ordinary * scale; }
    // Notes the place of the item just drawn.
    void mark(const std::string& name) const;
    void mark(const std::string& name, Rect place) const { places[name] = place; }
};

enum class ButtonKind { ordinary, primary, quiet, chosen };

// `name` marks its place. `width` 0 = as wide as its text, negative = up to that far from the right edge.
bool button(const Ui& ui, const std::string& name, std::string_view label, ButtonKind kind = ButtonKind::ordinary,
            float width = 0, bool enabled = true);
// Text that breaks into lines at the edge of its column.
void paragraph(const Ui& ui, std::string_view text, Color color);
void paragraph(const Ui& ui, std::string_view text);
void soft(const Ui& ui, std::string_view text);
void heading(const Ui& ui, std::string_view text);
void bullet(const Ui& ui, std::string_view text);
void gap(const Ui& ui, float ordinary);
// A row "label: value", label soft, value at a column.
void fact(const Ui& ui, std::string_view label, std::string_view value, float column);

// A labelled text field for a quantity; asks for set_field when it changes. Beneath it one line: what to measure, or
// what is wrong with it, so that nothing moves when that comes and goes. What is longer stands in the tooltip.
void quantity_field(const Ui& ui, const FieldSpec& spec, const std::string& key, const std::string& value,
                    const std::string* complaint, bool enabled);
// What is wrong, as a line to click on: brings the field into view.
void complaint_line(const Ui& ui, const std::string& key, const std::string& text);
// A text field that reports its new text.
bool text_field(const Ui& ui, const std::string& name, std::string_view hint, std::string& value, float width);

// A choice among several, as a drop-down list; returns the new index or -1.
int choice(const Ui& ui, const std::string& name, std::string_view label, const std::vector<std::string>& options,
           int chosen, bool enabled);

// A canvas on the current window's draw list with the ordinary text size of the small font.
ImguiCanvas canvas_here(const Ui& ui);
// Takes this much room and returns it.
Rect room(float width, float height);

}  // namespace coldtune::gui
