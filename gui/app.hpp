// The window's mind: holds the state, carries out actions, takes in what the workers found. Knows no screen.
//
// One thread only, the drawing one.
#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "gui/action.hpp"
#include "gui/history.hpp"
#include "gui/scene_builder.hpp"
#include "gui/state.hpp"
#include "gui/workers.hpp"

namespace coldtune::gui {

class App {
public:
    // `wake`: called from other threads when there is something to take in. `pictures`: folder for saved plots.
    App(PortFactory ports, std::function<void()> wake, std::filesystem::path pictures);

    [[nodiscard]] const State& state() const { return state_; }
    void act(const Action& action);
    // Takes in reports; true when anything changed.
    bool take_in();

    // The plot as it stands, rebuilt when its content changed.
    const PlotScene& scene();
    // Moving the view with the mouse goes through plot_view.hpp on this; afterwards the values follow.
    PlotView& view() { return state_.view; }
    void view_moved(bool values_too);

    // Remembered settings, put back before the first frame.
    void restore(const BenchForm& bench, const CoilForm& coil, bool dark, double text_scale, std::string coil_path);
    // The plot to be saved as PNG, once; the window reads its pixels after the next frame.
    std::optional<std::filesystem::path> take_png_request() { return std::exchange(png_request_, std::nullopt); }
    void png_saved(const Status& status, const std::filesystem::path& path);

private:
    void act_on_coil(const Action& action);
    void act_on_bench(const Action& action);
    void act_on_runs(const Action& action);
    void act_on_plot(const Action& action);
    void act_on_window(const Action& action);

    void ask_for_path();
    void coil_changed();
    void calculate();
    void bench_changed();
    void start(Task task, bench::Hookup hookup);
    void stop();
    [[nodiscard]] std::optional<std::string> why_not() const;
    void take(CalculationReport& report);
    void take(AdviceReport& report);
    void take(ProgressReport& report);
    void take(SweepReport& report);
    void take(FollowReport& report);
    void take(GainReport& report);
    void end_following();
    void take(DevicesReport& report);
    void add_run(SweepReport& report);
    void show_near();
    void follow_values();
    void content_changed() { ++state_.scene_serial; }
    [[nodiscard]] std::filesystem::path picture_path(const std::string& wanted, const char* ending) const;
    void save_svg(const std::filesystem::path& path);

    State state_;
    History<CoilForm> history_;
    SceneBuilder builder_;
    PlotScene scene_;
    std::uint64_t scene_built_ = 0;
    bool scene_dark_ = false;
    bool values_follow_ = true;
    std::filesystem::path pictures_;
    std::optional<std::filesystem::path> png_request_;
    Workers workers_;  // last: its threads end first
};

}  // namespace coldtune::gui
