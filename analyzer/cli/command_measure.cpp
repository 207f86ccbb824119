// coldtune measure: sweep, record, analyse, keep the capture.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <atomic>
#include <csignal>
#include <filesystem>
#include <memory>

#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/bench_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/result_output.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"
#include "analyzer/bench/bench_file.hpp"

namespace coldtune::cli {
namespace {

struct Options {
    std::string device;
    std::string bench_path;
    BenchOptions bench;
    double rate_hz = 0;
    double level_dbfs = -6;
    std::optional<dsp::Band> band;
    std::size_t period = 0, periods = 0;
    std::size_t output_channel = 1, generator_input = 1, coil_input = 2;
    std::string out_path;
    OutputOptions output;
};

// Set by Ctrl-C; the sweep's own loop notices and ends the sound properly.
std::atomic<bool> interrupted{false};
static_assert(std::atomic<bool>::is_always_lock_free);
void on_signal(int) {
    interrupted = true;
}

class SignalGuard {
public:
    SignalGuard() : old_int_(std::signal(SIGINT, on_signal)), old_term_(std::signal(SIGTERM, on_signal)) {}
    ~SignalGuard() {
        std::signal(SIGINT, old_int_);
        std::signal(SIGTERM, old_term_);
    }
    SignalGuard(const SignalGuard&) = delete;
    SignalGuard& operator=(const SignalGuard&) = delete;

private:
    void (*old_int_)(int);
    void (*old_term_)(int);
};

Result<std::unique_ptr<audio::AudioPort>> open_port(const Options& o, bench::Hookup hookup) {
    if (o.device != "simulated") {
        if (!o.bench_path.empty()) return usage_error("--bench belongs to --device simulated");
        return audio::make_portaudio_port();
    }
    bench::Bench bench = bench::default_bench();
    if (!o.bench_path.empty()) {
        auto read = bench::read_bench(o.bench_path);
        if (!read) return read.error();
        bench = std::move(*read);
    }
    return std::unique_ptr<audio::AudioPort>(bench::make_simulated_port(std::move(bench), hookup));
}

// The rate asked for, else the device's own default.
Result<double> choose_rate(const Options& o, audio::AudioPort& port) {
    if (o.rate_hz > 0) return o.rate_hz;
    const auto list = port.devices();
    if (!list) return list.error();
    for (const auto& d : *list) {
        if (d.name == o.device) return d.default_rate_hz;
    }
    return device_error(fmt::format("there is no device '{}'; see coldtune devices", o.device));
}

void show_cautions(const Console& console, bench::Hookup hookup) {
    for (std::string_view line : bench::general_cautions()) console.say(fmt::format("caution: {}", line));
    for (std::string_view line : bench::describe(hookup).cautions) console.say(fmt::format("caution: {}", line));
}

ExitCode run(const Options& o, Console& console) {
    auto request = make_request(o.bench);
    if (!request) return console.fail("measure", request.error());
    if (o.output_channel < 1 || o.generator_input < 1 || o.coil_input < 1) {
        return console.fail("measure", usage_error("channels are counted from 1"));
    }
    // Before anything sounds: a sweep whose capture cannot be kept would be for nothing.
    const std::filesystem::path out = o.out_path;
    if (out.extension() != ".wav" && out.extension() != ".flac") {
        return console.fail("measure", usage_error(fmt::format("--out {}: name a .wav or a .flac file", o.out_path)));
    }
    if (out.has_parent_path() && !std::filesystem::is_directory(out.parent_path())) {
        return console.fail("measure",
                            bad_input(fmt::format("--out {}: there is no folder {}; make it first or name another",
                                                  o.out_path, out.parent_path().string())));
    }
    auto port = open_port(o, request->hookup);
    if (!port) return console.fail("measure", port.error());
    const auto rate = choose_rate(o, **port);
    if (!rate) return console.fail("measure", rate.error());
    if (o.device != "simulated") show_cautions(console, request->hookup);

    measure::SessionSettings settings;
    settings.device = o.device;
    settings.sample_rate_hz = *rate;
    settings.hookup = request->hookup;
    settings.coupled = request->coupled;
    settings.bench = request->bench;
    settings.level_dbfs = o.level_dbfs;
    settings.band = o.band;
    if (o.period > 0) settings.period_frames = o.period;
    if (o.periods > 0) settings.periods = o.periods;
    settings.output_channel = o.output_channel - 1;
    settings.generator_input = o.generator_input - 1;
    settings.coil_input = o.coil_input - 1;

    std::stop_source stop;
    interrupted = false;
    Result<measure::SessionRecord> record = [&] {
        const SignalGuard guard;
        return measure::run_session(**port, settings, stop.get_token(), [&](const measure::SessionProgress& p) {
            if (interrupted) stop.request_stop();
            console.progress(p);
        });
    }();
    console.end_progress();
    if (!record) return console.fail("measure", record.error());

    // FLAC has no floating form; 24 bits hold what converters give.
    const auto format = o.out_path.ends_with(".flac") ? audio::SampleFormat::pcm24 : audio::SampleFormat::float32;
    const auto written = audio::write_capture(o.out_path, record->capture.capture, format, record->capture.note);
    request->coil = std::move(record->capture);
    const auto result = measure::analyze(*request);
    if (!result) return console.fail("measure", result.error());
    const ExitCode code = print_result(console, "measure", *result, o.output);
    // The number was earned; a full disk must not hide it, nor be hidden by it.
    if (!written) return console.fail("measure", written.error());
    return code;
}

}  // namespace

Command add_measure(CLI::App& root) {
    auto o = std::make_shared<Options>();
    CLI::App* app = root.add_subcommand("measure", "Sweep the coil and find its resonance and Q");
    app->add_option("--device", o->device, "Audio interface as listed by `coldtune devices`, or simulated")
        ->required()
        ->type_name("NAME");
    app->add_option("--bench", o->bench_path, "Bench of the simulated device (default: a built-in one)")
        ->type_name("BENCH.json");
    add_bench_options(*app, o->bench);
    add_coupled_flag(*app, o->bench);
    add_quantity(*app, "--rate", o->rate_hz, record::Unit::hertz, "Sample rate (default: the device's own)");
    app->add_option("--level", o->level_dbfs, "Peak level of the sweep in dBFS, 0 or less (default -6)")
        ->type_name("DB");
    app->add_option_function<std::string>(
           "--band",
           [o](const std::string& text) {
               const auto band = parse_band(text);
               if (!band) throw CLI::ValidationError("--band", band.error().message);
               o->band = *band;
           },
           "Lowest and highest frequency (default 1 kHz to 0.45 of the rate)")
        ->type_name("LOW:HIGH");
    app->add_option("--period", o->period, "Frames in one period (default: about 2/3 s, longer for a narrow resonance)")
        ->check(CLI::Range(64, 1 << 24));
    app->add_option("--periods", o->periods, "Periods of the final sweep, the first settles")
        ->check(CLI::Range(2, 1000));
    app->add_option("--output", o->output_channel, "Output channel that drives the resistor (default 1)");
    app->add_option("--generator-input", o->generator_input, "Input on the generator side (default 1)");
    app->add_option("--coil-input", o->coil_input, "Input on the coil side (default 2)");
    app->add_option("--out", o->out_path, "Capture to write, .wav or .flac")->required()->type_name("FILE");
    add_output_options(*app, o->output);
    return {app, [o](Console& console) { return run(*o, console); }};
}

}  // namespace coldtune::cli
