#include "gui/frame.hpp"

#include <algorithm>

namespace coldtune::gui {
namespace {

// Below this width, in ordinary pixels, two columns would both be too narrow.
constexpr float kNarrow = 860;

}  // namespace

void prepare_imgui() {
    ImGuiIO& io = ImGui::GetIO();
    io.IniFilename = nullptr;
    io.LogFilename = nullptr;
    io.ConfigFlags |= ImGuiConfigFlags_NavEnableKeyboard;
    io.ConfigInputTextCursorBlink = false;
    const auto map = [&](ImGuiKey ours, int native) { io.KeyMap[ours] = native; };
    map(ImGuiKey_Tab, key::tab);
    map(ImGuiKey_LeftArrow, key::left);
    map(ImGuiKey_RightArrow, key::right);
    map(ImGuiKey_UpArrow, key::up);
    map(ImGuiKey_DownArrow, key::down);
    map(ImGuiKey_PageUp, key::page_up);
    map(ImGuiKey_PageDown, key::page_down);
    map(ImGuiKey_Home, key::home);
    map(ImGuiKey_End, key::end);
    map(ImGuiKey_Insert, key::insert);
    map(ImGuiKey_Delete, key::del);
    map(ImGuiKey_Backspace, key::backspace);
    map(ImGuiKey_Space, key::enter);
    map(ImGuiKey_Enter, key::enter);
    map(ImGuiKey_Escape, key::escape);
    map(ImGuiKey_KeyPadEnter, key::keypad_enter);
    map(ImGuiKey_A, 'A');
    map(ImGuiKey_C, 'C');
    map(ImGuiKey_V, 'V');
    map(ImGuiKey_X, 'X');
    map(ImGuiKey_Y, 'Y');
    map(ImGuiKey_Z, 'Z');
}

void Frame::keys(App& app, std::vector<Action>& actions) const {
    const ImGuiIO& io = ImGui::GetIO();
    const State& s = app.state();
    const bool typing = io.WantTextInput;
    for (const Command& c : commands()) {
        if (!c.chord) continue;
        const Chord& chord = *c.chord;
        const bool repeats = c.what == Do::zoom_in || c.what == Do::zoom_out || c.what == Do::pan_left ||
                             c.what == Do::pan_right || c.what == Do::undo || c.what == Do::redo;
        if (!ImGui::IsKeyPressed(chord.key, repeats) || chord.ctrl != io.KeyCtrl || io.KeyAlt) continue;
        const bool function_key = chord.key >= key::f1 && chord.key <= key::f1 + 11;
        // Whatever has the keyboard, the space bar stops what runs.
        const bool stops = c.what == Do::sweep_or_stop && s.busy();
        if (typing && !stops) {
            // Letters and editing keys belong to the field; undo there is the field's own.
            if (!chord.ctrl && !function_key && chord.key != key::escape) continue;
            if (c.what == Do::undo || c.what == Do::redo) continue;
        }
        if (in_form_ && !typing && !stops && !chord.ctrl && could_be_typed(chord.key)) continue;
        const bool sheet = s.help_open || s.cautions_open || s.budget_open;
        // No step is taken behind a sheet.
        const bool moves = !function_key || c.group == std::string_view("Steps");
        if (sheet && !stops && chord.key != key::escape && moves && !chord.ctrl) continue;
        actions.push_back(action(c.what));
    }
    // The keypad's signs zoom as well.
    if (in_form_) return;
    if (!typing && ImGui::IsKeyPressed(key::keypad_add)) actions.push_back(action(Do::zoom_in));
    if (!typing && ImGui::IsKeyPressed(key::keypad_subtract)) actions.push_back(action(Do::zoom_out));
}

void Frame::follow_the_hand(const State& s) {
    const ImGuiIO& io = ImGui::GetIO();
    const auto leave = [&] {
        constexpr int kFramesLate = 3;
        in_form_ = false;
        after_leaving_ = kFramesLate;
    };
    if (after_leaving_ > 0) --after_leaving_;
    if (io.WantTextInput && after_leaving_ == 0) in_form_ = true;
    if (step_ != s.step || ImGui::IsKeyPressed(key::escape, false) || ImGui::IsKeyPressed(key::enter, false) ||
        ImGui::IsKeyPressed(key::keypad_enter, false)) {
        step_ = s.step;
        leave();
    }
    if (!ImGui::IsMouseClicked(0) && !ImGui::IsMouseClicked(1)) return;
    const auto form = places_.find("left");
    const bool inside = form != places_.end() && form->second.contains({io.MousePos.x, io.MousePos.y});
    const bool fields = s.step == Step::coil || s.step == Step::wiring || s.step == Step::tuning;
    if (!inside || ImGui::IsAnyItemHovered()) {
        leave();
    } else if (fields) {
        in_form_ = true;
    }
}

void Frame::step_panel(const Ui& ui) {
    switch (ui.s.step) {
        case Step::coil:
            coil_fields_panel(ui);
            break;
        case Step::wiring:
            wiring_panel(ui);
            break;
        case Step::standards:
            standards_panel(ui);
            break;
        case Step::tuning:
            return tuning_panel(ui);
        case Step::sweep:
            return;
    }
    gap(ui, 10);
    if (button(ui, "next", "Next step   (Page Down)", ButtonKind::ordinary, -1)) ui.ask(action(Do::next_step));
}

void Frame::body(const Ui& ui, Rect area) {
    if (area.width() < ui.px(kNarrow)) {
        stacked(ui, area);
    } else {
        beside(ui, area);
    }
}

// The plot, and the strip of what was followed above it.
void Frame::sweep_pictures(const Ui& ui, Rect area) {
    if (ui.s.following && ui.s.following->readings > 0) {
        const float strip = std::clamp(area.height() * 0.24F, ui.px(90), ui.px(170));
        history_panel(ui, {area.left, area.top, area.right, area.top + strip});
        area.top += strip + ui.px(10);
    }
    plot_panel(ui, area, plot_cache_, plot_gesture_);
}

// What is set on the left, what comes of it on the right.
void Frame::beside(const Ui& ui, Rect area) {
    const float column = std::min(ui.px(440), area.width() * 0.44F);
    ImGui::SetCursorScreenPos({area.left, area.top});
    ImGui::BeginChild(("left." + std::to_string(static_cast<int>(ui.s.step))).c_str(), {column, area.height()}, false,
                      ImGuiWindowFlags_AlwaysUseWindowPadding);
    ui.mark("left", {area.left, area.top, area.left + column, area.bottom});
    if (ui.s.step == Step::sweep) {
        sweep_controls(ui);
        sweep_outcome(ui);
    } else {
        step_panel(ui);
    }
    ImGui::EndChild();

    const Rect right{area.left + column + ui.px(16), area.top + ui.px(10), area.right, area.bottom};
    ImGui::SetCursorScreenPos({right.left, right.top});
    ImGui::BeginChild("right", {right.width(), right.height()}, false,
                      ImGuiWindowFlags_NoScrollbar | ImGuiWindowFlags_NoScrollWithMouse);
    const auto below = [&](float height) {
        const float top = right.top + height + ui.px(10);
        return Rect{right.left, std::min(top, right.bottom - ui.px(80)), right.right, right.bottom};
    };
    switch (ui.s.step) {
        case Step::coil:
            coil_picture_panel(ui, below(calculated_readout(ui, right.width())));
            break;
        case Step::wiring: {
            const float notes = std::min(right.height() * 0.44F, ui.px(300));
            wiring_picture_panel(ui, {right.left, right.top, right.right, right.bottom - notes - ui.px(14)});
            ImGui::SetCursorScreenPos({right.left, right.bottom - notes});
            ImGui::BeginChild("notes", {right.width(), notes});
            wiring_notes_panel(ui);
            ImGui::EndChild();
            break;
        }
        case Step::standards:
            standards_picture_panel(ui, right);
            break;
        case Step::sweep:
            sweep_pictures(ui, below(measured_readout(ui, right.width())));
            break;
        case Step::tuning: {
            const Rect rest = below(tuning_readout(ui, right.width()));
            ImGui::SetCursorScreenPos({rest.left, rest.top});
            ImGui::BeginChild("outcome", {rest.width(), rest.height()});
            ui.mark("outcome", rest);
            tuning_outcome_panel(ui);
            ImGui::EndChild();
            break;
        }
    }
    ImGui::EndChild();
}

// One column to scroll, for small windows and large letters.
void Frame::stacked(const Ui& ui, Rect area) {
    ImGui::SetCursorScreenPos({area.left, area.top});
    ImGui::BeginChild(("stack." + std::to_string(static_cast<int>(ui.s.step))).c_str(), {area.width(), area.height()},
                      false, ImGuiWindowFlags_AlwaysUseWindowPadding);
    ui.mark("left", area);
    const float width = ImGui::GetContentRegionAvail().x;
    const auto picture = [&](float height) {
        gap(ui, 8);
        const ImVec2 at = ImGui::GetCursorScreenPos();
        return Rect{at.x, at.y, at.x + width, at.y + std::max(height, ui.px(220))};
    };
    const auto after = [&](Rect taken) {
        ImGui::SetCursorScreenPos({taken.left, taken.bottom + ui.px(10)});
        ImGui::Dummy({width, 1});
    };
    switch (ui.s.step) {
        case Step::coil: {
            calculated_readout(ui, width);
            const Rect r = picture(area.height() * 0.8F);
            coil_picture_panel(ui, r);
            after(r);
            step_panel(ui);
            break;
        }
        case Step::wiring: {
            const Rect r = picture(std::max(std::min(area.height() * 0.9F, width * 0.6F), ui.px(340)));
            wiring_picture_panel(ui, r);
            after(r);
            wiring_notes_panel(ui);
            gap(ui, 8);
            step_panel(ui);
            break;
        }
        case Step::standards: {
            const Rect r = picture(std::max(std::min(area.height() * 0.9F, width * 0.7F), ui.px(400)));
            standards_picture_panel(ui, r);
            after(r);
            step_panel(ui);
            break;
        }
        case Step::sweep: {
            sweep_controls(ui);
            measured_readout(ui, width);
            const Rect r = picture(std::max(area.height() * 0.95F, ui.px(560)));
            sweep_pictures(ui, r);
            after(r);
            sweep_outcome(ui);
            break;
        }
        case Step::tuning:
            tuning_readout(ui, width);
            gap(ui, 6);
            tuning_outcome_panel(ui);
            gap(ui, 10);
            tuning_panel(ui);
            break;
    }
    ImGui::EndChild();
}

void Frame::draw(App& app, const Fonts& fonts, float scale) {
    const State& s = app.state();
    const Theme& theme = theme_for(s.dark);
    if (styled_for_ != scale || styled_dark_ != s.dark) {
        apply_to_widgets(theme, scale);
        styled_for_ = scale;
        styled_dark_ = s.dark;
    }
    std::vector<Action> actions;
    places_.clear();
    const Ui ui{app, s, theme, fonts, scale, actions, places_, typing_, scroll_to_, in_form_};
    keys(app, actions);

    const ImVec2 size = ImGui::GetIO().DisplaySize;
    ImGui::SetNextWindowPos({0, 0});
    ImGui::SetNextWindowSize(size);
    ImGui::PushFont(fonts.body);
    ImGui::PushStyleVar(ImGuiStyleVar_WindowRounding, 0);
    ImGui::PushStyleVar(ImGuiStyleVar_WindowPadding, ImVec2{0, 0});
    ImGui::Begin("coldtune", nullptr,
                 ImGuiWindowFlags_NoDecoration | ImGuiWindowFlags_NoMove | ImGuiWindowFlags_NoSavedSettings |
                     ImGuiWindowFlags_NoBringToFrontOnFocus | ImGuiWindowFlags_NoScrollWithMouse);
    ImGui::PopStyleVar(2);
    const float margin = ui.px(16), bar = ui.px(58), status = ui.px(34);
    ImGui::SetCursorScreenPos({margin, 0});
    path_bar(ui, size.x - 2 * margin, bar);
    body(ui, {margin, bar, size.x - margin, size.y - status - ui.px(4)});
    ImGui::SetCursorScreenPos({margin, size.y - status});
    status_bar(ui, size.x - 2 * margin, status);
    help_sheet(ui);
    cautions_sheet(ui);
    budget_sheet(ui);
    follow_the_hand(s);
    ImGui::End();
    ImGui::PopFont();

    for (const Action& a : actions) app.act(a);
}

}  // namespace coldtune::gui
