// coldtune stimulus: the sweep as a file, for playing it with something else.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/output_target.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::cli {
namespace {

struct StimulusOptions {
    double rate_hz = 192000;
    std::size_t period = 131072;
    std::size_t periods = 8;
    dsp::Band band{1000, 86400};
    bool band_given = false;
    double level_dbfs = -6;
    std::string out_path;
    bool replace = false;
    bool json = false;
};

ExitCode stimulus(const StimulusOptions& o, Console& console) {
    if (const Status free = check_sound_target(o.out_path, o.replace); !free)
        return console.fail("stimulus", free.error());
    // From the slowest converter on sale to ten times the fastest (common practice, no source).
    // A file's header has no place for a part of a hertz, and a sweep made for another rate than it says would be
    // wrong.
    if (!(o.rate_hz >= 1000 && o.rate_hz <= 10e6) || o.rate_hz != std::floor(o.rate_hz)) {
        return console.fail("stimulus",
                            usage_error(fmt::format("--rate {} Hz is no audio interface's sample rate; give a whole "
                                                    "number of hertz from 1 kHz to 10 MHz",
                                                    o.rate_hz)));
    }
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = o.rate_hz;
    sweep.period_frames = o.period;
    sweep.periods = o.periods;
    sweep.band = o.band_given ? o.band : dsp::Band{1000, 0.45 * o.rate_hz};
    sweep.level_dbfs = o.level_dbfs;
    sweep.lead_in_frames = static_cast<std::size_t>(std::llround(0.05 * o.rate_hz));
    sweep.lead_out_frames = static_cast<std::size_t>(std::llround(0.1 * o.rate_hz));
    // 5 ms, or all of a period that is shorter.
    sweep.fade_frames = std::min(o.period, static_cast<std::size_t>(std::llround(0.005 * o.rate_hz)));
    const auto signal = dsp::render(sweep);
    if (!signal) return console.fail("stimulus", usage_error(signal.error().message));
    audio::CaptureNote note;
    note.period_frames = o.period;
    note.program_version = COLDTUNE_VERSION;
    const auto written = audio::write_mono(o.out_path, *signal, o.rate_hz, audio::SampleFormat::pcm24, note);
    if (!written) return console.fail("stimulus", written.error());
    double sum = 0, peak = 0;
    const auto period = dsp::sweep_period(sweep);
    if (!period) return console.fail("stimulus", period.error());
    for (double x : *period) {
        sum += x * x;
        peak = std::max(peak, std::abs(x));
    }
    const double rms = std::sqrt(sum / static_cast<double>(period->size()));
    const double seconds = static_cast<double>(signal->size()) / o.rate_hz;
    if (o.json) {
        nlohmann::ordered_json j;
        j["schema"] = "coldtune.stimulus.v1";
        j["file"] = o.out_path;
        j["sample_rate_hz"] = o.rate_hz;
        j["period_frames"] = o.period;
        j["periods"] = o.periods;
        j["band_hz"] = {sweep.band.low_hz, sweep.band.high_hz};
        j["bin_spacing_hz"] = o.rate_hz / static_cast<double>(o.period);
        j["peak_dbfs"] = 20 * std::log10(peak);
        j["crest_factor"] = peak / rms;
        j["duration_s"] = seconds;
        console.print(j.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
    } else {
        console.print(
            fmt::format("{}: {:.2f} s at {:g} Hz, {} periods of {} frames, {:g} to {:g} Hz every {:.4g} Hz,\n"
                        "peak {:.2f} dBFS (0 dBFS = the largest sample), crest factor {:.3f}\n"
                        "play it, record both inputs, then: coldtune analyze CAPTURE.wav --period {} ...\n",
                        o.out_path, seconds, o.rate_hz, o.periods, o.period, sweep.band.low_hz, sweep.band.high_hz,
                        o.rate_hz / static_cast<double>(o.period), 20 * std::log10(peak), peak / rms, o.period));
    }
    return ExitCode::done;
}

}  // namespace

Command add_stimulus(CLI::App& root) {
    auto o = std::make_shared<StimulusOptions>();
    CLI::App* app = root.add_subcommand("stimulus", "Write the sweep to an audio file");
    add_quantity(*app, "--rate", o->rate_hz, record::Unit::hertz, "Sample rate (default 192k)");
    app->add_option("--period", o->period, "Frames in one period (default 131072)")->check(CLI::Range(64, 1 << 24));
    app->add_option("--periods", o->periods, "Number of periods, the first settles (default 8)")
        ->check(CLI::Range(2, 10000));
    app->add_option_function<std::string>(
           "--band",
           [o](const std::string& text) {
               const auto band = parse_band(text);
               if (!band) throw CLI::ValidationError("--band", band.error().message);
               o->band = *band;
               o->band_given = true;
           },
           "Lowest and highest frequency (default 1 kHz to 0.45 of the rate)")
        ->type_name("LOW:HIGH");
    app->add_option("--level", o->level_dbfs, "Peak level in dBFS, 0 or less (default -6)")->type_name("DB");
    app->add_option("--out", o->out_path, "File to write: .wav or .flac, 24 bit")->required()->type_name("FILE");
    app->add_flag("--replace", o->replace, "Write over an existing --out file");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return stimulus(*o, console); }};
}

}  // namespace coldtune::cli
