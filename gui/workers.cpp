#include "gui/workers.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analyzer/measure/advice.hpp"
#include "analyzer/model/secondary.hpp"

namespace coldtune::gui {
namespace {

using SteadyClock = std::chrono::steady_clock;

// The model is drawn well beyond the first resonance, whatever the interface hears.
constexpr double kCalculatedFrom_hz = 200;
constexpr double kModesShown = 3;

Calculation calculation_of(const CalculationJob& job) {
    Calculation done;
    done.serial = job.serial;
    auto value = model::calculate(job.coil);
    if (!value) {
        done.complaint = value.error().message;
        return done;
    }
    done.value = std::move(*value);
    const auto built = model::SecondaryModel::build(job.coil);
    if (!built) return done;
    const dsp::Band band{kCalculatedFrom_hz, kModesShown * done.value->frequency_hz};
    done.foot = std::make_shared<measure::Curve>(measure::calculated_curve(*built, bench::Hookup::foot, band));
    done.winding = std::make_shared<measure::Curve>(measure::calculated_curve(*built, bench::Hookup::winding, band));
    return done;
}

std::optional<measure::Standard> standard_of(const SweepJob& job, bench::Hookup which) {
    const auto found = job.standards.find(which);
    if (found == job.standards.end()) return std::nullopt;
    return measure::Standard{*found->second, std::string(bench::describe(which).name)};
}

// Everything but the coil's capture; `used` gets the names of the standards.
measure::AnalysisRequest request_of(const SweepJob& job, std::vector<std::string>& used) {
    measure::AnalysisRequest request;
    request.hookup = job.settings.hookup;
    request.bench = job.settings.bench;
    request.description = job.description;
    request.coupled = job.settings.coupled;
    if (!bench::seeks_resonance(job.settings.hookup)) return request;
    request.open = standard_of(job, bench::Hookup::open);
    request.short_circuit = standard_of(job, bench::Hookup::short_circuit);
    request.load = standard_of(job, bench::Hookup::load);
    for (const auto* s : {&request.open, &request.short_circuit, &request.load}) {
        if (*s) used.push_back((*s)->name);
    }
    return request;
}

bench::PrimaryCircuit primary_of(const SweepJob& job) {
    return job.tank_closed    ? bench::PrimaryCircuit::closed
           : job.winding_open ? bench::PrimaryCircuit::shorted
                              : bench::PrimaryCircuit::open;
}

// The eye takes in about 25 changes a second; peaks between two reports are not lost.
measure::SessionProgressCallback progress_reports(std::function<void(Report)> report) {
    return [report = std::move(report), last = SteadyClock::time_point{}, generator = 0.0,
            coil = 0.0](const measure::SessionProgress& p) mutable {
        generator = std::max(generator, p.peak_generator);
        coil = std::max(coil, p.peak_coil);
        const auto now = SteadyClock::now();
        if (now - last < std::chrono::milliseconds(40) && p.fraction < 1) return;
        last = now;
        ProgressReport progress{p, false};
        progress.progress.peak_generator = std::exchange(generator, 0);
        progress.progress.peak_coil = std::exchange(coil, 0);
        report(progress);
    };
}

}  // namespace

Workers::Workers(PortFactory ports, std::function<void()> wake)
    : ports_(std::move(ports)),
      wake_(std::move(wake)),
      calculator_([this](const std::stop_token& quit) { calculate_loop(quit); }),
      bench_([this](const std::stop_token& quit) { bench_loop(quit); }),
      tuner_([this](const std::stop_token& quit) { tune_loop(quit); }) {}

Workers::~Workers() {
    calculator_.request_stop();
    bench_.request_stop();
    tuner_.request_stop();
    stop();
}

void Workers::calculate(CalculationJob job) {
    const std::scoped_lock lock(mutex_);
    waiting_calculation_ = std::move(job);
    changed_.notify_all();
}

void Workers::tune(TuningJob job) {
    const std::scoped_lock lock(mutex_);
    waiting_tuning_ = std::move(job);
    changed_.notify_all();
}

void Workers::compare(ComparisonJob job) {
    const std::scoped_lock lock(mutex_);
    waiting_comparison_ = std::move(job);
    changed_.notify_all();
}

void Workers::sweep(SweepJob job) {
    const std::scoped_lock lock(mutex_);
    task_stop_ = std::stop_source();
    waiting_bench_.emplace_back(std::move(job));
    changed_.notify_all();
}

void Workers::list_devices() {
    const std::scoped_lock lock(mutex_);
    waiting_bench_.emplace_back(std::monostate{});
    changed_.notify_all();
}

void Workers::stop() {
    const std::scoped_lock lock(mutex_);
    task_stop_.request_stop();
}

std::vector<Report> Workers::take_reports() {
    const std::scoped_lock lock(mutex_);
    return std::exchange(reports_, {});
}

void Workers::report(Report report) {
    {
        const std::scoped_lock lock(mutex_);
        reports_.push_back(std::move(report));
    }
    if (wake_) wake_();
}

void Workers::calculate_loop(const std::stop_token& quit) {
    while (true) {
        CalculationJob job;
        {
            std::unique_lock lock(mutex_);
            if (!changed_.wait(lock, quit, [&] { return waiting_calculation_.has_value(); })) return;
            job = std::move(*waiting_calculation_);
            waiting_calculation_.reset();
        }
        report(CalculationReport{calculation_of(job)});
        {
            // Advice on a description that has already changed helps nobody.
            const std::scoped_lock lock(mutex_);
            if (waiting_calculation_) continue;
        }
        const auto advice = measure::advise(job.coil, job.sample_rate_hz, job.reference_ohm);
        report(AdviceReport{job.serial, advice ? advice->sentence : advice.error().message});
    }
}

void Workers::tune_loop(const std::stop_token& quit) {
    while (true) {
        std::optional<TuningJob> tuning;
        std::optional<ComparisonJob> comparison;
        {
            std::unique_lock lock(mutex_);
            const auto waits = [&] { return waiting_tuning_.has_value() || waiting_comparison_.has_value(); };
            if (!changed_.wait(lock, quit, waits)) return;
            tuning.swap(waiting_tuning_);
            comparison.swap(waiting_comparison_);
        }
        if (comparison) report(work_out(*comparison));
        if (tuning) report(work_out(*tuning));
    }
}

void Workers::bench_loop(const std::stop_token& quit) {
    while (true) {
        BenchJob job;
        std::stop_token stop;
        {
            std::unique_lock lock(mutex_);
            if (!changed_.wait(lock, quit, [&] { return !waiting_bench_.empty(); })) return;
            job = std::move(waiting_bench_.front());
            waiting_bench_.erase(waiting_bench_.begin());
            stop = task_stop_.get_token();
        }
        if (const auto* sweep = std::get_if<SweepJob>(&job)) {
            run(*sweep, stop);
        } else {
            const auto port = ports_({false, bench::Hookup::foot, std::nullopt, 0, 0, 0, bench::PrimaryCircuit::open});
            report(DevicesReport{port->devices()});
        }
    }
}

void Workers::finish(const SweepJob& job, SweepReport done) {
    done.task = job.task;
    done.hookup = job.settings.hookup;
    report(std::move(done));
}

void Workers::fail(const SweepJob& job, Error error, const std::stop_token& stop) {
    SweepReport done{job.task, job.settings.hookup, std::move(error), nullptr, nullptr, nullptr, {}, false};
    done.stopped = stop.stop_requested();
    finish(job, std::move(done));
}

void Workers::run(const SweepJob& job, const std::stop_token& stop) {
    const auto port =
        ports_({job.settings.device == kSimulated, job.settings.hookup, job.coil, job.settings.sample_rate_hz,
                job.settings.bench.reference_ohm, job.settings.bench.load_ohm, primary_of(job)});
    switch (job.task) {
        case Task::follow:
            return follow(job, *port, stop);
        case Task::listen:
            return listen(job, *port, stop);
        default:
            return sweep(job, *port, stop);
    }
}

void Workers::sweep(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop) {
    auto record =
        measure::run_session(port, job.settings, stop, progress_reports([this](Report r) { report(std::move(r)); }));
    if (!record) return fail(job, record.error(), stop);
    if (stop.stop_requested()) return fail(job, rejected("Stopped; nothing was measured."), stop);
    report(ProgressReport{{}, true});

    SweepReport done{job.task, job.settings.hookup, measure::MeasurementResult{}, nullptr, nullptr, nullptr, {}, false};
    done.capture = std::make_shared<audio::CaptureFile>(std::move(record->capture));
    measure::AnalysisRequest request = request_of(job, done.standards_used);
    request.coil = *done.capture;
    if (job.winding_open) {
        request.shorted = measure::Standard{*done.capture, "the sweep with the primary shorted"};
        request.coil = *job.winding_open;
    }
    auto context = measure::prepare(request);
    if (!context) return fail(job, context.error(), stop);
    auto result = measure::analyze_prepared(request, *context);
    if (!result) return fail(job, result.error(), stop);
    const bool found = result->resonance() != nullptr && !request.coupled;
    if (const auto fitted = measure::fitted_curve(*result)) done.fitted = std::make_shared<measure::Curve>(*fitted);
    done.measured = std::make_shared<measure::Curve>(std::move(result->curve));
    result->curve = {};
    done.result = std::move(*result);
    finish(job, std::move(done));
    // The result is on the screen by now.
    if (found && job.task == Task::sweep) report(GainReport{measure::gains_of_standards(request, *context)});
}

void Workers::follow(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop) {
    std::vector<std::string> used;
    const measure::FollowSettings settings{job.settings, request_of(job, used)};
    const Status status = measure::follow(
        port, settings, stop,
        [&](measure::FollowReading&& reading) {
            FollowReport live{std::move(reading), nullptr, nullptr, used};
            auto& result = live.reading.result;
            if (const auto fitted = measure::fitted_curve(result)) {
                live.fitted = std::make_shared<measure::Curve>(*fitted);
            }
            live.measured = std::make_shared<measure::Curve>(std::move(result.curve));
            result.curve = {};
            report(std::move(live));
        },
        progress_reports([this](Report r) { report(std::move(r)); }));
    if (!status) return fail(job, status.error(), stop);
    finish(job, {job.task, job.settings.hookup, measure::MeasurementResult{}, nullptr, nullptr, nullptr, {}, true});
}

void Workers::listen(const SweepJob& job, audio::AudioPort& port, const std::stop_token& stop) {
    constexpr double kBlock_s = 0.1;
    const auto block = static_cast<std::size_t>(kBlock_s * job.settings.sample_rate_hz);
    audio::HoldRequest request;
    request.device = job.settings.device;
    request.sample_rate_hz = job.settings.sample_rate_hz;
    request.output_channel = job.settings.output_channel;
    request.generator_input = job.settings.generator_input;
    request.coil_input = job.settings.coil_input;
    request.most_stimulus_frames = block;
    request.most_recorded_frames = 20 * block;
    auto held = port.hold(request);
    if (!held) return fail(job, held.error(), stop);
    const std::vector<double> silence(block, 0.0);
    if (auto begun = (*held)->loop(silence, request.most_recorded_frames); !begun)
        return fail(job, begun.error(), stop);
    std::uint64_t next = block;
    while (!stop.stop_requested()) {
        const auto frames = (*held)->recorded_frames();
        if (!frames) return fail(job, frames.error(), stop);
        if (*frames < next) {
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
            continue;
        }
        next = *frames + block;
        const auto heard = (*held)->read(*frames - block, block);
        if (!heard) continue;  // the machine was busy for two seconds; the next block will do
        ProgressReport levels;
        levels.progress.what = "listening";
        for (const double x : heard->generator)
            levels.progress.peak_generator = std::max(levels.progress.peak_generator, std::abs(x));
        for (const double x : heard->coil) levels.progress.peak_coil = std::max(levels.progress.peak_coil, std::abs(x));
        report(levels);
    }
    finish(job, {job.task, job.settings.hookup, measure::MeasurementResult{}, nullptr, nullptr, nullptr, {}, true});
}

}  // namespace coldtune::gui
