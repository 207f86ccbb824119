// The window without a screen: Dear ImGui frames with no backend, the mouse and the keys set in ImGuiIO, as a hand at
// the bench would move them.
#pragma once

#include <imgui.h>

#include <memory>
#include <string>

#include "gui/frame.hpp"

namespace coldtune::gui {

class HeadlessWindow {
public:
    explicit HeadlessWindow(PortFactory ports = usual_ports(0), float scale = 1, ImVec2 size = {1280, 800});
    ~HeadlessWindow();
    HeadlessWindow(const HeadlessWindow&) = delete;
    HeadlessWindow& operator=(const HeadlessWindow&) = delete;

    App& app() { return *app_; }
    const State& state() const { return app_->state(); }
    bool has(const std::string& place) const { return frame_.places().contains(place); }
    Rect place(const std::string& name) const;
    const std::map<std::string, Rect>& places() const { return frame_.places(); }

    void frames(int count = 3);
    void resize(ImVec2 size, float scale);
    void move_to(Point p);
    void click(Point p, int button = 0);
    void click(const std::string& place);
    void drag(Point from, Point to, int button = 0);
    void wheel(Point at, float steps);
    void press(int key, bool ctrl = false);
    void type(const std::string& text);
    // Runs frames until nothing calculates or sweeps any more; false after `seconds`.
    bool settle(double seconds = 240);
    // From a window just opened to one with a run: to the sweep, start it, wait for its result. False as `settle`.
    bool first_sweep();

private:
    std::unique_ptr<App> app_;
    Frame frame_;
    Fonts fonts_;
    float scale_;
};

}  // namespace coldtune::gui
