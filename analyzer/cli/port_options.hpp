// The options of commands that sound: which interface, which channels, what sweep.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/cli/console.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"

namespace CLI {
class App;
}

namespace coldtune::cli {

struct PortOptions {
    std::string device;
    std::string bench_path;
    double rate_hz = 0;
    measure::HeadLimit head;
    double level_dbfs = -6;
    std::optional<dsp::Band> band;
    std::size_t period = 0;
    std::size_t output_channel = 1, generator_input = 1, coil_input = 2;  // from 1
    [[nodiscard]] bool simulated() const { return device == "simulated"; }
};

void add_port_options(CLI::App& app, PortOptions& options, const char* period_help);

// The interface, or the simulated bench with this hookup.
Result<std::unique_ptr<audio::AudioPort>> open_port(const PortOptions& options, bench::Hookup hookup);

// Settings of a session on that port; the rate is the one asked for, else the device's own default. Errors: usage, or
// device when there is no such device.
Result<measure::SessionSettings> session_settings(const PortOptions& options, const measure::AnalysisRequest& request,
                                                  audio::AudioPort& port);

// Design section 10: before every sweep on real hardware.
void show_cautions(const Console& console, const PortOptions& options, bench::Hookup hookup);

}  // namespace coldtune::cli
