#include "tests/gui/headless_window.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <thread>

#include "tests/support/patience.hpp"

namespace coldtune::gui {

HeadlessWindow::HeadlessWindow(PortFactory ports, float scale, ImVec2 size) : scale_(scale) {
    ImGui::CreateContext();
    prepare_imgui();
    ImGuiIO& io = ImGui::GetIO();
    // Without it more than 65,536 vertices in one list stop Dear ImGui 1.86; the real backend sets it too.
    io.BackendFlags |= ImGuiBackendFlags_RendererHasVtxOffset;
    app_ = std::make_unique<App>(
        std::move(ports), [] {}, std::filesystem::temp_directory_path());
    resize(size, scale);
    frames();
}

HeadlessWindow::~HeadlessWindow() {
    app_.reset();
    ImGui::DestroyContext();
}

void HeadlessWindow::resize(ImVec2 size, float scale) {
    ImGui::GetIO().DisplaySize = size;
    scale_ = scale;
    const auto files = find_fonts();
    ASSERT_TRUE(files) << files.error().message;
    const auto fonts = load_fonts(*files, scale);
    ASSERT_TRUE(fonts) << fonts.error().message;
    fonts_ = *fonts;
}

Rect HeadlessWindow::place(const std::string& name) const {
    const auto found = frame_.places().find(name);
    if (found == frame_.places().end()) {
        ADD_FAILURE() << "nothing named " << name << " was drawn";
        return {};
    }
    return found->second;
}

void HeadlessWindow::frames(int count) {
    for (int k = 0; k < count; ++k) {
        app_->take_in();
        ImGui::GetIO().DeltaTime = 1.0F / 60;
        ImGui::NewFrame();
        frame_.draw(*app_, fonts_, scale_);
        ImGui::Render();
    }
}

void HeadlessWindow::move_to(Point p) {
    ImGui::GetIO().MousePos = {p.x, p.y};
    frames(2);
}

void HeadlessWindow::click(Point p, int button) {
    move_to(p);
    ImGui::GetIO().MouseDown[button] = true;
    frames(1);
    ImGui::GetIO().MouseDown[button] = false;
    frames(2);
    // So that two clicks in a row are two clicks and not a double one.
    for (int k = 0; k < 30; ++k) frames(1);
}

void HeadlessWindow::click(const std::string& name) {
    click(place(name).centre());
}

void HeadlessWindow::drag(Point from, Point to, int button) {
    move_to(from);
    ImGui::GetIO().MouseDown[button] = true;
    frames(1);
    for (int k = 1; k <= 5; ++k) {
        const float t = static_cast<float>(k) / 5;
        ImGui::GetIO().MousePos = {from.x + (to.x - from.x) * t, from.y + (to.y - from.y) * t};
        frames(1);
    }
    ImGui::GetIO().MouseDown[button] = false;
    frames(3);
}

void HeadlessWindow::wheel(Point at, float steps) {
    move_to(at);
    ImGui::GetIO().MouseWheel = steps;
    frames(1);
    ImGui::GetIO().MouseWheel = 0;
    frames(2);
}

void HeadlessWindow::press(int key, bool ctrl) {
    ImGuiIO& io = ImGui::GetIO();
    io.KeyCtrl = ctrl;
    io.KeysDown[key] = true;
    frames(1);
    io.KeysDown[key] = false;
    frames(1);
    io.KeyCtrl = false;
    frames(1);
}

void HeadlessWindow::type(const std::string& text) {
    ImGui::GetIO().AddInputCharactersUTF8(text.c_str());
    frames(2);
}

bool HeadlessWindow::first_sweep() {
    if (!settle()) return false;
    press(key::f5);
    press(key::space);
    return settle();
}

bool HeadlessWindow::settle(double seconds) {
    const auto until = std::chrono::steady_clock::now() + std::chrono::duration<double>(testing::kPatience * seconds);
    while (std::chrono::steady_clock::now() < until) {
        frames(1);
        if (state().idle()) {
            frames(3);
            return true;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return false;
}

}  // namespace coldtune::gui
