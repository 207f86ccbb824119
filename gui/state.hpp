// Everything the window knows, as plain values. Panels read it; only App changes it.
#pragma once

#include <chrono>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/curves.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/measure/standard_gain.hpp"
#include "gui/bench_form.hpp"
#include "gui/coil_draft.hpp"
#include "gui/picture.hpp"
#include "gui/tuning_job.hpp"

namespace coldtune::gui {

using Clock = std::chrono::system_clock;

// The road through the window, in order.
enum class Step { coil, wiring, standards, sweep, tuning };
inline constexpr int kSteps = 5;

// Which pair of quantities the plot shows.
enum class PlotPair { admittance, impedance, conductance, resistance };
inline constexpr int kPlotPairs = 4;

struct Calculation {
    std::uint64_t serial = 0;  // of the description it belongs to
    std::optional<model::Calculated> value;
    std::shared_ptr<const measure::Curve> foot, winding;  // over the interface's band and beyond
    std::string complaint;                                // when it cannot be calculated
    std::string advice;  // which way will serve on this interface; comes a little later than the rest
};

struct Run {
    int id = 0;
    std::string name;  // "3"
    std::string note;
    measure::MeasurementResult result;
    std::string written;                             // the result as analyze --json writes it, without the curve
    std::shared_ptr<const measure::Curve> measured;  // the result's curve, moved out of it
    std::shared_ptr<const measure::Curve> fitted;    // null when there is none
    Clock::time_point time;
    std::string device;
    std::string coil_name;
    std::string standards;                     // "open, short" or "none"
    std::vector<measure::StandardGain> gains;  // of the standards it was made without; come a little later
    bool shown = true;
    int number = 0;              // in the bench book; 0 = not (yet) there
    std::string unkept;          // why it is not
    bool has_recording = false;  // so that it can be tried again
    bool curve_asked = false;
};

// Where the runs are kept.
struct RunBook {
    std::string path;  // "" = nowhere
    bool opening = false;
    int pending = 0;        // pieces of work asked for
    std::string complaint;  // of the last one that failed
};

// As it stands in the tuning step.
Evidence evidence_of(const Run& run);

struct StandardTaken {
    std::shared_ptr<const audio::CaptureFile> file;
    measure::MeasurementResult result;
    Clock::time_point time;
    std::string device;
    double sample_rate_hz = 0;
    double reference_ohm = 0;
    bool returned = false;    // from the book: the leads may have been moved since
    std::string kept_sha256;  // of its file in the book; "" = not there yet
};

enum class Task { none, sweep, wiring_check, follow, listen };

// The resonance live, while something is moved.
struct Following {
    struct Point {
        double at_s = 0;                     // since it began
        std::optional<double> frequency_hz;  // empty while there was none
        double u95_hz = 0;
    };
    std::vector<Point> history;  // ascending, the last kHistory_s seconds
    std::optional<measure::MeasurementResult> latest;
    std::shared_ptr<const measure::Curve> measured, fitted;
    std::optional<double> first_hz;
    std::size_t readings = 0;
    double at_s = 0, update_s = 0;
    std::string standards;
    // The last that had a resonance: what is kept when it ends.
    std::optional<measure::MeasurementResult> kept;
    std::shared_ptr<const measure::Curve> kept_measured, kept_fitted;
};
inline constexpr double kHistory_s = 60;

struct Progress {
    Task task = Task::none;
    bench::Hookup hookup = bench::Hookup::foot;
    int step = 1, steps = 1;
    std::string what;
    double fraction = 0;
    double seconds_left = 0;
    bool stopping = false;
    bool analysing = false;
};

struct Meter {
    double peak = 0;  // of the last block, full scale = 1
    double held = 0;  // the highest since the task began
};

struct WiringCheck {
    Clock::time_point time;
    std::vector<measure::Finding> findings;
    std::string complaint;
    bool good = false;
};

// What the right side of the tuning step shows.
enum class TuningView { tap, top_load, spark };
inline constexpr int kTuningViews = 3;

struct Tuning {
    TuningForm form;
    TuningReading reading;
    std::uint64_t serial = 0;
    bool pending = false;                          // a newer outcome is being worked out
    std::shared_ptr<const TuningOutcome> outcome;  // the latest; null before the first
    TuningView view = TuningView::tap;
};

// The selected run against compare_run.
struct Comparison {
    int a = -1, b = -1;  // run ids
    std::uint64_t serial = 0;
    bool pending = false;
    std::shared_ptr<const ComparisonOutcome> outcome;
};

struct State {
    Step step = Step::coil;
    CoilForm coil;
    FormReading reading;
    std::optional<model::CoilDescription> last_coil;  // the last description that could be read
    std::uint64_t coil_serial = 0;
    bool can_undo = false, can_redo = false;
    std::string coil_path;  // where the description was opened from or saved to, absolute
    FileSeen coil_seen;     // of that file
    CoilForm coil_saved;    // what it holds
    // Somebody else wrote to the file that was to be saved to.
    struct Conflict {
        std::string path;
        std::string sentence;
    };
    std::optional<Conflict> conflict;
    Calculation calculation;
    bool calculating = false;
    bool advising = false;  // the advice is still to come

    BenchForm bench;
    BenchReading bench_reading;
    std::vector<audio::DeviceInfo> devices;
    bool listing_devices = false;
    std::string devices_complaint;
    bool cautions_open = false;
    bool cautions_acknowledged = false;  // in this session of the program
    Task after_cautions = Task::none;    // what was asked for when they came up
    std::optional<WiringCheck> wiring_check;
    Meter generator_meter, coil_meter;

    Progress progress;
    std::string complaint;  // of the last task, until the next one starts
    std::string notice;     // "Plot saved as ..."
    std::string unkept;     // why the settings cannot be written; empty when they can
    std::map<bench::Hookup, StandardTaken> standards;
    std::vector<Run> runs;
    RunBook book;
    std::vector<Run> deleted_runs;                 // of this session, the last one last: they can be brought back
    std::vector<std::string> forgotten_standards;  // by kept_sha256
    int selected_run = -1;                         // id; -1 = none
    std::optional<int> compare_run;                // id of the one the selected run is compared with
    Comparison comparison;
    int next_run = 1;
    std::optional<Following> following;  // while it runs, and until the next task after it
    bool budget_open = false;
    Tuning tuning;

    PlotView view;
    PlotPair pair = PlotPair::admittance;
    std::uint64_t scene_serial = 1;  // grows whenever the plot's content changes

    bool help_open = false;
    bool dark = false;
    double text_scale = 1.0;  // 1 .. 2.5
    bool quit = false;

    [[nodiscard]] bool busy() const { return progress.task != Task::none; }
    // Nothing runs and nothing is waited for.
    [[nodiscard]] bool idle() const {
        return !busy() && !calculating && !advising && !listing_devices && book.pending == 0 && !tuning.pending &&
               !comparison.pending;
    }
    // The description as the coil stands on the bench now; empty when it cannot be read.
    [[nodiscard]] std::optional<model::CoilDescription> standing_coil() const {
        auto stands = reading.coil;
        if (stands && bench.standing() == Standing::bare) stands->topload.clear();
        return stands;
    }
    [[nodiscard]] const Run* run(int id) const {
        for (const Run& r : runs) {
            if (r.id == id) return &r;
        }
        return nullptr;
    }
    [[nodiscard]] const Run* selected() const { return run(selected_run); }
    [[nodiscard]] bool live() const { return progress.task == Task::follow && following && following->latest; }
    // What the readout and the plot are about: the live reading, else the selected run.
    [[nodiscard]] const measure::MeasurementResult* shown_result() const {
        if (live()) return &*following->latest;
        const Run* chosen = selected();
        return chosen != nullptr ? &chosen->result : nullptr;
    }
    [[nodiscard]] const measure::Curve* shown_curve() const {
        if (live()) return following->measured.get();
        const Run* chosen = selected();
        return chosen != nullptr ? chosen->measured.get() : nullptr;
    }
    // A standard of another rate or interface describes another bench.
    [[nodiscard]] bool usable(const StandardTaken& taken) const {
        return taken.device == bench.device && taken.sample_rate_hz == bench.sample_rate_hz;
    }
};

}  // namespace coldtune::gui
