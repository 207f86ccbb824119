#include "analyzer/cli/port_options.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>

#include "analyzer/bench/bench_file.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/command.hpp"

namespace coldtune::cli {

void add_port_options(CLI::App& app, PortOptions& o, const char* period_help) {
    app.add_option("--device", o.device, "Audio interface as listed by `coldtune devices`, or simulated")
        ->required()
        ->type_name("NAME");
    app.add_option("--bench", o.bench_path, "Bench of the simulated device (default: a built-in one)")
        ->type_name("BENCH.json");
    add_quantity(app, "--rate", o.rate_hz, record::Unit::hertz, "Sample rate (default: the device's own)");
    app.add_option("--level", o.level_dbfs, "Peak level of the sweep in dBFS, 0 or less (default -6)")->type_name("DB");
    add_quantity(app, "--output-peak", o.head.output_peak_v, record::Unit::volt,
                 "Of the output at 0 dBFS, peak (default 11V, a line output of +20 dBu)");
    add_quantity(app, "--head-limit", o.head.most_peak_v, record::Unit::volt,
                 "Refuse a sweep that would put more than this on the head, peak (default 60V)");
    app.add_option_function<std::string>(
           "--band",
           [&o](const std::string& text) {
               const auto band = parse_band(text);
               if (!band) throw CLI::ValidationError("--band", band.error().message);
               o.band = *band;
           },
           "Lowest and highest frequency (default 1 kHz to 0.45 of the rate)")
        ->type_name("LOW:HIGH");
    app.add_option("--period", o.period, period_help)->check(CLI::Range(64, 1 << 24));
    app.add_option("--output", o.output_channel, "Output channel that drives the resistor (default 1)");
    app.add_option("--generator-input", o.generator_input, "Input on the generator side (default 1)");
    app.add_option("--coil-input", o.coil_input, "Input on the coil side (default 2)");
}

Result<std::unique_ptr<audio::AudioPort>> open_port(const PortOptions& o, bench::Hookup hookup) {
    if (!o.simulated()) {
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

Result<measure::SessionSettings> session_settings(const PortOptions& o, const measure::AnalysisRequest& request,
                                                  audio::AudioPort& port) {
    if (o.output_channel < 1 || o.generator_input < 1 || o.coil_input < 1) {
        return usage_error("channels are counted from 1");
    }
    measure::SessionSettings settings;
    settings.device = o.device;
    settings.sample_rate_hz = o.rate_hz;
    if (!(o.rate_hz > 0)) {
        const auto list = port.devices();
        if (!list) return list.error();
        for (const auto& d : *list) {
            if (d.name == o.device) settings.sample_rate_hz = d.default_rate_hz;
        }
        if (!(settings.sample_rate_hz > 0)) {
            return device_error(fmt::format("there is no device '{}'; see coldtune devices", o.device));
        }
    }
    settings.hookup = request.hookup;
    settings.coupled = request.coupled;
    settings.bench = request.bench;
    settings.level_dbfs = o.level_dbfs;
    settings.head = o.head;
    settings.band = o.band;
    if (o.period > 0) settings.period_frames = o.period;
    settings.output_channel = o.output_channel - 1;
    settings.generator_input = o.generator_input - 1;
    settings.coil_input = o.coil_input - 1;
    return settings;
}

void show_cautions(const Console& console, const PortOptions& o, bench::Hookup hookup) {
    if (o.simulated()) return;
    for (std::string_view line : bench::general_cautions()) console.say(fmt::format("caution: {}", line));
    for (std::string_view line : bench::describe(hookup).cautions) console.say(fmt::format("caution: {}", line));
}

}  // namespace coldtune::cli
