// coldtune simulate: a capture from a bench that exists only in numbers.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/bench/bench_file.hpp"
#include "analyzer/bench/hookup.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/output_target.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::cli {
namespace {

struct SimulateOptions {
    std::string bench_path;
    std::string hookup_name;
    std::string out_path;
    bool replace = false;
    double rate_hz = 0;  // 0: the bench's own
    std::size_t period = 131072;
    std::size_t periods = 8;
    std::optional<dsp::Band> band;
    double level_dbfs = -6;
    std::string stimulus_path;
    std::optional<std::uint64_t> seed;
    bool json = false;
};

constexpr double kTail_s = 0.3;

audio::SampleFormat format_of(const bench::Interface& interface) {
    if (interface.bits == 0) return audio::SampleFormat::float32;
    if (interface.bits <= 16) return audio::SampleFormat::pcm16;
    return interface.bits <= 24 ? audio::SampleFormat::pcm24 : audio::SampleFormat::pcm32;
}

Result<std::vector<double>> sweep_signal(const SimulateOptions& o, double rate_hz) {
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = rate_hz;
    sweep.period_frames = o.period;
    sweep.periods = o.periods;
    sweep.band = o.band.value_or(dsp::Band{std::min(1000.0, 0.1 * rate_hz), 0.45 * rate_hz});
    sweep.level_dbfs = o.level_dbfs;
    sweep.lead_in_frames = static_cast<std::size_t>(std::llround(0.05 * rate_hz));
    sweep.fade_frames = static_cast<std::size_t>(std::llround(0.005 * rate_hz));
    auto signal = dsp::render(sweep);
    if (!signal) return usage_error(signal.error().message);
    return signal;
}

ExitCode simulate(const SimulateOptions& o, Console& console) {
    if (const Status free = check_sound_target(o.out_path, o.replace); !free)
        return console.fail("simulate", free.error());
    auto bench = bench::read_bench(o.bench_path);
    if (!bench) return console.fail("simulate", bench.error());
    if (o.seed) bench->seed = *o.seed;
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = o.rate_hz > 0 ? o.rate_hz : bench->interface.sample_rate_hz;
    audio::CaptureNote note;
    if (o.stimulus_path.empty()) {
        auto signal = sweep_signal(o, request.sample_rate_hz);
        if (!signal) return console.fail("simulate", signal.error());
        request.stimulus = std::move(*signal);
        note.period_frames = o.period;
    } else {
        auto played = audio::read_mono(o.stimulus_path);
        if (!played) return console.fail("simulate", played.error());
        request.stimulus = std::move(played->samples);
        request.sample_rate_hz = played->sample_rate_hz;
    }
    request.tail_frames = static_cast<std::size_t>(std::llround(kTail_s * request.sample_rate_hz));

    const auto hookup = *bench::hookup_from_name(o.hookup_name);
    note.hookup = o.hookup_name;
    note.device = "simulated";
    note.program_version = COLDTUNE_VERSION;
    const audio::SampleFormat format = format_of(bench->interface);
    auto port = bench::make_simulated_port(std::move(*bench), hookup);
    auto recording = port->play_and_record(request, {}, {});
    if (!recording) return console.fail("simulate", recording.error());
    const auto written = audio::write_capture(o.out_path, recording->capture, format, note);
    if (!written) return console.fail("simulate", written.error());

    const double seconds = static_cast<double>(recording->capture.frames()) / recording->capture.sample_rate_hz;
    if (o.json) {
        nlohmann::ordered_json j;
        j["schema"] = "coldtune.simulation.v1";
        j["file"] = o.out_path;
        j["hookup"] = o.hookup_name;
        j["sample_rate_hz"] = recording->capture.sample_rate_hz;
        j["frames"] = recording->capture.frames();
        j["period_frames"] = note.period_frames;
        console.print(j.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
    } else {
        console.print(fmt::format("{}: {:.2f} s at {:g} Hz, hookup {}, simulated\n", o.out_path, seconds,
                                  recording->capture.sample_rate_hz, o.hookup_name));
    }
    return ExitCode::done;
}

}  // namespace

Command add_simulate(CLI::App& root) {
    auto o = std::make_shared<SimulateOptions>();
    CLI::App* app = root.add_subcommand("simulate", "Make a capture on a simulated bench");
    app->add_option("BENCH", o->bench_path, "Description of the bench (JSON)")->required()->type_name("BENCH.json");
    std::vector<std::string> names;
    for (const auto& h : bench::all_hookups()) names.emplace_back(h.name);
    app->add_option("--hookup", o->hookup_name, "How the bench is wired: " + CLI::detail::join(names, ", "))
        ->required()
        ->check(CLI::IsMember(names))
        ->type_name("NAME");
    app->add_option("--out", o->out_path, "Capture to write, .wav or .flac")->required()->type_name("FILE");
    app->add_flag("--replace", o->replace, "Write over an existing --out file");
    add_quantity(*app, "--rate", o->rate_hz, record::Unit::hertz, "Sample rate (default: the bench's)");
    app->add_option("--period", o->period, "Frames in one period (default 131072)")->check(CLI::Range(64, 1 << 24));
    app->add_option("--periods", o->periods, "Number of periods, the first settles (default 8)")
        ->check(CLI::Range(2, 1000));
    app->add_option_function<std::string>(
           "--band",
           [o](const std::string& text) {
               const auto band = parse_band(text);
               if (!band) throw CLI::ValidationError("--band", band.error().message);
               o->band = *band;
           },
           "Lowest and highest frequency (default 1 kHz to 0.45 of the rate)")
        ->type_name("LOW:HIGH");
    app->add_option("--level", o->level_dbfs, "Peak level in dBFS, 0 or less (default -6)")->type_name("DB");
    CLI::Option* played =
        app->add_option("--stimulus", o->stimulus_path, "Play this file instead of the sweep")->type_name("FILE");
    // A file is played as it is.
    for (const char* of_the_sweep : {"--rate", "--period", "--periods", "--band", "--level"})
        played->excludes(of_the_sweep);
    app->add_option_function<std::uint64_t>(
           "--seed", [o](const std::uint64_t& seed) { o->seed = seed; }, "Another draw of the noise")
        ->type_name("NUMBER");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return simulate(*o, console); }};
}

}  // namespace coldtune::cli
