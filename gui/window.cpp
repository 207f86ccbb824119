// The only file that includes GLFW.
#include "gui/window.hpp"

#include <GLFW/glfw3.h>
#include <backends/imgui_impl_glfw.h>
#include <backends/imgui_impl_opengl3.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <thread>

#include "gui/autosave.hpp"
#include "gui/end_signals.hpp"
#include "gui/frame.hpp"
#include "gui/picture_file.hpp"
#include "gui/script.hpp"

namespace coldtune::gui {
namespace {

using Steady = std::chrono::steady_clock;

static_assert(key::space == GLFW_KEY_SPACE && key::escape == GLFW_KEY_ESCAPE && key::enter == GLFW_KEY_ENTER &&
              key::tab == GLFW_KEY_TAB && key::backspace == GLFW_KEY_BACKSPACE && key::insert == GLFW_KEY_INSERT &&
              key::del == GLFW_KEY_DELETE && key::right == GLFW_KEY_RIGHT && key::up == GLFW_KEY_UP &&
              key::page_up == GLFW_KEY_PAGE_UP && key::end == GLFW_KEY_END && key::home == GLFW_KEY_HOME &&
              key::f1 == GLFW_KEY_F1 && key::f6 == GLFW_KEY_F6 && key::f7 == GLFW_KEY_F7 &&
              key::comma == GLFW_KEY_COMMA && key::period == GLFW_KEY_PERIOD && key::minus == GLFW_KEY_MINUS &&
              key::equal == GLFW_KEY_EQUAL && key::keypad_enter == GLFW_KEY_KP_ENTER &&
              key::keypad_add == GLFW_KEY_KP_ADD && key::keypad_subtract == GLFW_KEY_KP_SUBTRACT && 'A' == GLFW_KEY_A &&
              'Z' == GLFW_KEY_Z);

// The longest the loop sleeps: ages in words ("3 minutes ago") move on their own.
constexpr double kLongestSleep_s = 20;
// Frames drawn after the last event, so that hover, focus and layout settle.
constexpr int kSettlingFrames = 3;

// A key pressed and released between two frames would be lost (Dear ImGui 1.86 sees only what is down when a frame
// begins), and losing a press of the space bar must not happen: the release is held back until a frame has seen the
// key.
struct KeyGuard {
    struct Event {
        int key, scancode, mods;
    };
    std::vector<int> pressed_since_frame;
    std::vector<Event> held_back;
};

struct Screen {
    KeyGuard keys;
    int frames_to_draw = kSettlingFrames;
    void touch() { frames_to_draw = kSettlingFrames; }
};

Screen& screen_of(GLFWwindow* window) {
    return *static_cast<Screen*>(glfwGetWindowUserPointer(window));
}

void on_key(GLFWwindow* window, int key, int scancode, int action, int mods) {
    Screen& screen = screen_of(window);
    screen.touch();
    auto& pressed = screen.keys.pressed_since_frame;
    if (action == GLFW_RELEASE && std::find(pressed.begin(), pressed.end(), key) != pressed.end()) {
        screen.keys.held_back.push_back({key, scancode, mods});
        return;
    }
    if (action == GLFW_PRESS) pressed.push_back(key);
    ImGui_ImplGlfw_KeyCallback(window, key, scancode, action, mods);
}

void release_held_keys(GLFWwindow* window, Screen& screen) {
    screen.keys.pressed_since_frame.clear();
    for (const KeyGuard::Event& e : std::exchange(screen.keys.held_back, {})) {
        ImGui_ImplGlfw_KeyCallback(window, e.key, e.scancode, GLFW_RELEASE, e.mods);
        screen.touch();
    }
}

void install_callbacks(GLFWwindow* window) {
    glfwSetKeyCallback(window, on_key);
    glfwSetCharCallback(window, [](GLFWwindow* w, unsigned c) {
        screen_of(w).touch();
        ImGui_ImplGlfw_CharCallback(w, c);
    });
    glfwSetMouseButtonCallback(window, [](GLFWwindow* w, int button, int action, int mods) {
        screen_of(w).touch();
        ImGui_ImplGlfw_MouseButtonCallback(w, button, action, mods);
    });
    glfwSetScrollCallback(window, [](GLFWwindow* w, double x, double y) {
        screen_of(w).touch();
        ImGui_ImplGlfw_ScrollCallback(w, x, y);
    });
    glfwSetCursorEnterCallback(window, [](GLFWwindow* w, int entered) {
        screen_of(w).touch();
        ImGui_ImplGlfw_CursorEnterCallback(w, entered);
    });
    glfwSetWindowFocusCallback(window, [](GLFWwindow* w, int focused) {
        screen_of(w).touch();
        ImGui_ImplGlfw_WindowFocusCallback(w, focused);
    });
    glfwSetCursorPosCallback(window, [](GLFWwindow* w, double, double) { screen_of(w).touch(); });
    glfwSetFramebufferSizeCallback(window, [](GLFWwindow* w, int, int) { screen_of(w).touch(); });
    glfwSetWindowRefreshCallback(window, [](GLFWwindow* w) { screen_of(w).touch(); });
    glfwSetWindowContentScaleCallback(window, [](GLFWwindow* w, float, float) { screen_of(w).touch(); });
}

float screen_scale(GLFWwindow* window) {
    float x = 1, y = 1;
    glfwGetWindowContentScale(window, &x, &y);
    return std::clamp(std::isfinite(x) ? x : 1.0F, 1.0F, 4.0F);
}

// The pixels of what was just drawn, row 0 at the top.
Pixels read_pixels(GLFWwindow* window) {
    Pixels pixels;
    glfwGetFramebufferSize(window, &pixels.width, &pixels.height);
    const auto row = static_cast<std::size_t>(pixels.width) * 3, rows = static_cast<std::size_t>(pixels.height);
    std::vector<std::uint8_t> upside_down(row * rows);
    glPixelStorei(GL_PACK_ALIGNMENT, 1);
    glReadPixels(0, 0, pixels.width, pixels.height, GL_RGB, GL_UNSIGNED_BYTE, upside_down.data());
    pixels.rgb.resize(upside_down.size());
    for (std::size_t y = 0; y < rows; ++y) {
        std::copy_n(upside_down.begin() + static_cast<std::ptrdiff_t>((rows - 1 - y) * row), row,
                    pixels.rgb.begin() + static_cast<std::ptrdiff_t>(y * row));
    }
    return pixels;
}

void clear_to(Color ground) {
    const auto part = [](std::uint8_t v) { return static_cast<float>(v) / 255.0F; };
    glClearColor(part(ground.r), part(ground.g), part(ground.b), 1);
    glClear(GL_COLOR_BUFFER_BIT);
}

// The plot alone, as large as the window, drawn where nobody sees it: on the frame that is not shown yet.
Pixels plot_alone(GLFWwindow* window, App& app, const Fonts& fonts, float scale) {
    int width = 0, height = 0;
    glfwGetFramebufferSize(window, &width, &height);
    const Rect area{0, 0, static_cast<float>(width), static_cast<float>(height)};
    const Theme& theme = theme_for(app.state().dark);
    ImDrawList list(ImGui::GetDrawListSharedData());
    list._ResetForNewFrame();
    list.PushTextureID(ImGui::GetIO().Fonts->TexID);
    list.PushClipRect({0, 0}, {area.right, area.bottom});
    ImguiCanvas canvas(list, fonts, fonts.small->FontSize);
    PlotCache cache;
    draw_plot(canvas, area, app.scene(), app.state().view, {theme, scale}, cache);
    std::array<ImDrawList*, 1> lists{&list};
    ImDrawData data;
    data.Valid = true;
    data.CmdLists = lists.data();
    data.CmdListsCount = 1;
    data.TotalIdxCount = list.IdxBuffer.Size;
    data.TotalVtxCount = list.VtxBuffer.Size;
    data.DisplaySize = {area.right, area.bottom};
    data.FramebufferScale = {1, 1};
    clear_to(theme.panel);
    ImGui_ImplOpenGL3_RenderDrawData(&data);
    return read_pixels(window);
}

// Carries a script through, a step or less a frame.
class ScriptRunner {
public:
    ScriptRunner(std::vector<ScriptStep> steps) : steps_(std::move(steps)) {}
    [[nodiscard]] bool finished() const { return at_ >= steps_.size(); }
    [[nodiscard]] const std::optional<Error>& error() const { return error_; }

    // After a frame. What it changed shows in the next one, so every change is followed by frames to settle.
    void advance(App& app, GLFWwindow* window, const Frame& frame) {
        if (finished() || error_) return;
        if (settle_ > 0) {
            --settle_;
            return;
        }
        const ScriptStep& step = steps_[at_];
        const auto now = Steady::now();
        if (!started_) started_ = now;
        const auto waited = std::chrono::duration<double>(now - *started_).count();
        const State& s = app.state();
        switch (step.kind) {
            case ScriptStep::Kind::action:
                app.act(step.action);
                break;
            case ScriptStep::Kind::wait_idle:
            case ScriptStep::Kind::wait_busy:
            case ScriptStep::Kind::wait_readings: {
                const bool idle = s.idle();
                if (step.kind == ScriptStep::Kind::wait_readings) {
                    if (s.following && s.following->readings >= step.readings) break;
                } else if (idle == (step.kind == ScriptStep::Kind::wait_idle)) {
                    break;
                }
                if (waited > step.seconds) {
                    error_ = device_error(
                        fmt::format("script step {}: nothing came of waiting {} s", at_ + 1, step.seconds));
                }
                return;
            }
            case ScriptStep::Kind::size:
                glfwSetWindowSize(window, step.width, step.height);
                break;
            case ScriptStep::Kind::picture:
                if (const auto w = write_png(read_pixels(window), step.file); !w) error_ = w.error();
                break;
            case ScriptStep::Kind::state: {
                int width = 0, height = 0;
                glfwGetFramebufferSize(window, &width, &height);
                std::FILE* file = std::fopen(step.file.c_str(), "wb");
                if (file == nullptr) {
                    error_ = bad_input(fmt::format("{}: cannot be written", step.file.string()));
                    return;
                }
                const std::string text = state_json(s, frame.places(), width, height);
                const bool whole = std::fwrite(text.data(), 1, text.size(), file) == text.size();
                if (std::fclose(file) != 0 || !whole) {
                    error_ = bad_input(fmt::format("{}: cannot be written", step.file.string()));
                    return;
                }
                break;
            }
        }
        ++at_;
        started_.reset();
        settle_ = kSettle;
    }

private:
    static constexpr int kSettle = 3;
    std::vector<ScriptStep> steps_;
    std::size_t at_ = 0;
    int settle_ = kSettle;
    std::optional<Steady::time_point> started_;
    std::optional<Error> error_;
};

std::string last_glfw_error() {
    const char* text = nullptr;
    glfwGetError(&text);
    return text != nullptr ? text : "no reason given";
}

struct Glfw {
    bool ready = glfwInit() == GLFW_TRUE;
    ~Glfw() {
        if (ready) glfwTerminate();
    }
};

Remembered remembered_now(GLFWwindow* window, const App& app) {
    int width = 0, height = 0;
    glfwGetWindowSize(window, &width, &height);
    return remembered_of(app.state(), width, height);
}

Status draw_until_closed(GLFWwindow* window, Screen& screen, App& app, const FontFiles& files, Autosave& autosave,
                         std::optional<ScriptRunner>& script) {
    Frame frame;
    Fonts fonts;
    float loaded_for = 0;
    while (!app.state().quit) {
        if (glfwWindowShouldClose(window) != 0 || EndSignals::asked()) app.act(action(Do::quit));
        if (app.take_in()) screen.touch();
        autosave.look(remembered_now(window, app), Steady::now());
        if (const auto written = autosave.take_outcome()) {
            app.settings_written(*written);
            screen.touch();
        }
        const bool asleep = glfwGetWindowAttrib(window, GLFW_ICONIFIED) != 0;
        if (screen.frames_to_draw <= 0 && !script) {
            const auto due = autosave.due_in(Steady::now());
            glfwWaitEventsTimeout(due ? std::clamp(std::chrono::duration<double>(*due).count(), 0.01, kLongestSleep_s)
                                      : kLongestSleep_s);
            // A frame for what woke us, or for the clock.
            screen.frames_to_draw = std::max(screen.frames_to_draw, 1);
            continue;
        }
        glfwPollEvents();
        if (asleep) {
            screen.frames_to_draw = 0;
            if (script) std::this_thread::sleep_for(std::chrono::milliseconds(10));
            continue;
        }
        --screen.frames_to_draw;

        const float scale = static_cast<float>(app.state().text_scale) * screen_scale(window);
        if (scale != loaded_for) {
            auto loaded = load_fonts(files, scale);
            if (!loaded) return loaded.error();
            fonts = *loaded;
            ImGui_ImplOpenGL3_DestroyFontsTexture();
            ImGui_ImplOpenGL3_CreateFontsTexture();
            loaded_for = scale;
        }
        ImGui_ImplOpenGL3_NewFrame();
        ImGui_ImplGlfw_NewFrame();
        ImGui::NewFrame();
        const std::uint64_t before = app.state().scene_serial;
        frame.draw(app, fonts, scale);
        ImGui::Render();
        if (app.state().scene_serial != before) screen.touch();
        int width = 0, height = 0;
        glfwGetFramebufferSize(window, &width, &height);
        glViewport(0, 0, width, height);
        clear_to(theme_for(app.state().dark).ground);
        ImGui_ImplOpenGL3_RenderDrawData(ImGui::GetDrawData());
        if (script) {
            script->advance(app, window, frame);
            if (script->error()) return *script->error();
            if (script->finished()) app.act(action(Do::quit));
        }
        if (const auto path = app.take_png_request()) {
            app.png_saved(write_png(plot_alone(window, app, fonts, scale), *path), *path);
            // The frame itself was painted over: it is drawn anew and not shown like this.
            screen.touch();
            continue;
        }
        glfwSwapBuffers(window);
        release_held_keys(window, screen);
    }
    return Done{};
}

// Of windows that were ended before they could save.
void tell_of_drafts(App& app, const std::vector<std::filesystem::path>& drafts) {
    if (drafts.empty()) return;
    std::string notice = app.state().notice;
    if (!notice.empty()) notice += " ";
    notice += fmt::format("A description that was never saved is kept as {}", drafts.back().string());
    if (drafts.size() > 1) notice += fmt::format(" and {} more", drafts.size() - 1);
    app.tell(notice + ".");
}

}  // namespace

Status run_window(const WindowOptions& options) {
    std::optional<ScriptRunner> script;
    if (options.script) {
        auto steps = read_script(*options.script);
        if (!steps) return steps.error();
        script.emplace(std::move(*steps));
    }
    const auto files = find_fonts();
    if (!files) return files.error();
    const Glfw glfw;
    if (!glfw.ready) {
        return device_error(fmt::format(
            "no display to open a window on ({}); log in to a desktop, or use the command line program coldtune",
            last_glfw_error()));
    }
    glfwWindowHint(GLFW_CONTEXT_VERSION_MAJOR, 3);
    glfwWindowHint(GLFW_CONTEXT_VERSION_MINOR, 2);
    glfwWindowHint(GLFW_OPENGL_PROFILE, GLFW_OPENGL_CORE_PROFILE);
    glfwWindowHint(GLFW_OPENGL_FORWARD_COMPAT, GLFW_TRUE);
    glfwWindowHint(GLFW_SCALE_TO_MONITOR, GLFW_TRUE);
    glfwWindowHintString(GLFW_X11_CLASS_NAME, "coldtune");
    GLFWwindow* window =
        glfwCreateWindow(options.remembered.width, options.remembered.height, "coldtune", nullptr, nullptr);
    if (window == nullptr) {
        return device_error(fmt::format("this display offers no OpenGL 3.2 ({}); use the command line program coldtune",
                                        last_glfw_error()));
    }
    glfwSetWindowSizeLimits(window, 640, 480, GLFW_DONT_CARE, GLFW_DONT_CARE);
    glfwMakeContextCurrent(window);
    glfwSwapInterval(1);

    Screen screen;
    glfwSetWindowUserPointer(window, &screen);
    ImGui::CreateContext();
    ImGui_ImplGlfw_InitForOpenGL(window, false);
    install_callbacks(window);
    ImGui_ImplOpenGL3_Init("#version 150");
    prepare_imgui();

    Status status = Done{};
    {
        App app(
            usual_ports(options.simulated_pace), [] { glfwPostEmptyEvent(); }, pictures_folder());
        const Remembered& r = options.remembered;
        app.keep_state_in(options.state_folder);
        app.restore(r);
        app.tell(options.notice);
        if (!options.state_folder.empty()) tell_of_drafts(app, recover_drafts(options.state_folder, r.document.form));
        Autosave autosave(options.settings, options.state_folder, [] { glfwPostEmptyEvent(); });
        const EndSignals signals([] { glfwPostEmptyEvent(); });
        if (!r.bench.simulated()) app.act(action(Do::list_devices));
        status = draw_until_closed(window, screen, app, *files, autosave, script);
        const auto saved = autosave.finish(remembered_now(window, app));
        if (status && !saved) status = saved.error();
    }
    ImGui_ImplOpenGL3_Shutdown();
    ImGui_ImplGlfw_Shutdown();
    ImGui::DestroyContext();
    glfwDestroyWindow(window);
    return status;
}

}  // namespace coldtune::gui
