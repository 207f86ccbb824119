// The window's mind: holds the state, carries out actions, takes in what the workers found. Knows no screen.
//
// One thread only, the drawing one.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <string>

#include "gui/action.hpp"
#include "gui/history.hpp"
#include "gui/run_keeper.hpp"
#include "gui/scene_builder.hpp"
#include "gui/settings_file.hpp"
#include "gui/state.hpp"
#include "gui/workers.hpp"

namespace coldtune::gui {

class App {
public:
    // `wake`: called from other threads when there is something to take in. `pictures`: folder for saved plots.
    App(PortFactory ports, const std::function<void()>& wake, std::filesystem::path pictures);

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
    void restore(const Remembered& remembered);
    // Where descriptions nobody has saved are kept when another takes their place; empty: nowhere.
    void keep_state_in(std::filesystem::path folder) { state_folder_ = std::move(folder); }
    void tell(std::string notice) { state_.notice = std::move(notice); }
    void settings_written(const Status& status);
    // The plot to be saved as PNG, once; the window reads its pixels after the next frame.
    std::optional<std::filesystem::path> take_png_request() { return std::exchange(png_request_, std::nullopt); }
    void png_saved(const Status& status, const std::filesystem::path& path);

private:
    void act_on_coil(const Action& action);
    void follow_book();
    void take_runs_along(bool was_unnamed);
    void take(BookReport& report);
    void opened(OpenedReport& report);
    void ask_book(decltype(BookWork::what) what);
    void keep(Run& run, const SweepReport& report);
    void want_curves();
    void delete_run(std::vector<Run>::iterator at);
    void undo_delete();
    void open_coil(const std::string& path);
    void save_coil(const std::string& path, bool anyway);
    [[nodiscard]] CoilDocument document() const;
    void set_document(CoilDocument document);
    void coil_before(std::string_view kind) { history_.before(document(), kind); }
    void act_on_bench(const Action& action);
    void act_on_runs(const Action& action);
    void act_on_tuning(const Action& action);
    void act_on_plot(const Action& action);
    void act_on_window(const Action& action);

    void ask_for_path();
    void coil_changed();
    void calculate();
    void bench_changed();
    void start(Task task, bench::Hookup hookup);
    void stop();
    [[nodiscard]] std::optional<std::string> why_not() const;
    bool drop_refusal();
    [[nodiscard]] bool fits_bench(const std::shared_ptr<const audio::CaptureFile>& capture) const;
    void take(CalculationReport& report);
    void take(AdviceReport& report);
    void take(ProgressReport& report);
    void take(SweepReport& report);
    void take(FollowReport& report);
    void take(GainReport& report);
    void end_following();
    void take(DevicesReport& report);
    void add_run(SweepReport& report);
    void take(TuningOutcome& outcome);
    void take(ComparisonOutcome& outcome);
    void retune();
    void compare_again();
    void wire_for(std::string_view place);
    void show_near();
    void follow_values();
    void content_changed() { ++state_.scene_serial; }
    [[nodiscard]] std::filesystem::path picture_path(const std::string& wanted, const char* ending) const;
    void save_svg(const std::filesystem::path& path);

    State state_;
    History<CoilDocument> history_;
    SceneBuilder builder_;
    PlotScene scene_;
    std::uint64_t scene_built_ = 0;
    bool scene_dark_ = false;
    bool values_follow_ = true;
    std::shared_ptr<const audio::CaptureFile> winding_open_;  // of the last winding: its coupling takes two captures
    std::filesystem::path pictures_, state_folder_;
    std::optional<std::filesystem::path> png_request_;
    std::map<int, KeepRun> unkept_;  // what could not be kept, by run, to be tried again
    std::optional<SweepJob> job_;    // the last one
    std::string refusal_;            // of the last start, while it holds
    RunKeeper keeper_;
    Workers workers_;  // last: its threads end first
};

}  // namespace coldtune::gui
