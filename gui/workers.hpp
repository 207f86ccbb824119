// The two threads beside the drawing one: one calculates, one sweeps and analyses. What they find comes back through a
// queue; they never touch the window's state.
#pragma once

#include <condition_variable>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>
#include <variant>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/curves.hpp"
#include "analyzer/measure/follow.hpp"
#include "analyzer/measure/session.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

// What a port is wanted for; the simulated bench also needs to know what hangs on it.
struct PortRequest {
    bool simulated = true;
    bench::Hookup hookup = bench::Hookup::foot;
    std::optional<model::CoilDescription> coil;
    double sample_rate_hz = 0;
    double reference_ohm = 0;
    double load_ohm = 0;
};
using PortFactory = std::function<std::unique_ptr<audio::AudioPort>(const PortRequest&)>;
// Real hardware through PortAudio; the simulated bench plays the described coil, a little off its description. `pace`:
// see bench::SimulatedPort.
PortFactory usual_ports(double simulated_pace);

struct CalculationJob {
    std::uint64_t serial = 0;
    model::CoilDescription coil;
    double sample_rate_hz = 0;
    double reference_ohm = 0;
};

struct SweepJob {
    Task task = Task::sweep;
    measure::SessionSettings settings;
    std::optional<model::CoilDescription> coil;         // for the simulated bench
    std::optional<model::CoilDescription> description;  // to compare with
    std::map<bench::Hookup, std::shared_ptr<const audio::CaptureFile>> standards;
};

struct CalculationReport {
    Calculation calculation;
};
struct AdviceReport {
    std::uint64_t serial = 0;
    std::string sentence;
};
struct ProgressReport {
    measure::SessionProgress progress;
    bool analysing = false;
};
struct SweepReport {
    Task task = Task::sweep;
    bench::Hookup hookup = bench::Hookup::foot;
    Result<measure::MeasurementResult> result;
    std::shared_ptr<const measure::Curve> measured, fitted;
    std::shared_ptr<const audio::CaptureFile> capture;
    std::vector<std::string> standards_used;
    bool stopped = false;
};
struct FollowReport {
    measure::FollowReading reading;
    std::shared_ptr<const measure::Curve> measured, fitted;
    std::vector<std::string> standards_used;
};
// Belongs to the sweep before it.
struct GainReport {
    std::vector<measure::StandardGain> gains;
};
struct DevicesReport {
    Result<std::vector<audio::DeviceInfo>> devices;
};
using Report =
    std::variant<CalculationReport, AdviceReport, ProgressReport, SweepReport, FollowReport, GainReport, DevicesReport>;

class Workers {
public:
    // `wake` is called from a worker when a report lies in the queue.
    Workers(PortFactory ports, std::function<void()> wake);
    ~Workers();  // stops what runs
    Workers(const Workers&) = delete;
    Workers& operator=(const Workers&) = delete;

    // A newer description takes the place of one that waits.
    void calculate(CalculationJob job);
    // One task at a time: the caller knows whether one runs.
    void sweep(SweepJob job);
    void list_devices();
    void stop();

    std::vector<Report> take_reports();

private:
    using BenchJob = std::variant<SweepJob, std::monostate>;  // monostate: list the devices
    void calculate_loop(const std::stop_token& quit);
    void bench_loop(const std::stop_token& quit);
    void run(const SweepJob& job, const std::stop_token& stop);
    void sweep(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop);
    void follow(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop);
    void listen(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop);
    void finish(const SweepJob& job, SweepReport done);
    void fail(const SweepJob& job, Error error, const std::stop_token& stop);
    void report(Report report);

    PortFactory ports_;
    std::function<void()> wake_;
    std::mutex mutex_;
    std::condition_variable_any changed_;
    std::optional<CalculationJob> waiting_calculation_;
    std::vector<BenchJob> waiting_bench_;
    std::stop_source task_stop_;
    std::vector<Report> reports_;
    std::jthread calculator_, bench_;
};

}  // namespace coldtune::gui
