// coldtune devices: what can be named with --device.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/cli/command.hpp"

namespace coldtune::cli {
namespace {

std::string rates_text(const std::vector<double>& rates) {
    std::string out;
    for (double r : rates) out += fmt::format("{}{:g}", out.empty() ? "" : ", ", r / 1000);
    return out.empty() ? "none" : out + " kHz";
}

ExitCode devices(bool json, Console& console) {
    const auto list = audio::make_portaudio_port()->devices();
    if (!list) return console.fail("devices", list.error());
    if (json) {
        nlohmann::ordered_json j;
        j["schema"] = "coldtune.devices.v1";
        j["devices"] = nlohmann::ordered_json::array();
        for (const auto& d : *list) {
            j["devices"].push_back({{"name", d.name},
                                    {"host", d.host},
                                    {"input_channels", d.input_channels},
                                    {"output_channels", d.output_channels},
                                    {"default_rate_hz", d.default_rate_hz},
                                    {"rates_hz", d.rates_hz}});
        }
        console.print(j.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
        return ExitCode::done;
    }
    if (list->empty()) {
        console.print("no audio interface found; connect one, or use --device simulated\n");
        return ExitCode::done;
    }
    for (const auto& d : *list) {
        const bool fits = d.input_channels >= 2 && d.output_channels >= 1;
        console.print(fmt::format("{}\n    {}, {} in, {} out, together at {}{}\n", d.name, d.host, d.input_channels,
                                  d.output_channels, rates_text(d.rates_hz),
                                  fits ? "" : "   (needs two inputs and an output for this job)"));
    }
    return ExitCode::done;
}

}  // namespace

Command add_devices(CLI::App& root) {
    auto json = std::make_shared<bool>(false);
    CLI::App* app = root.add_subcommand("devices", "List the audio interfaces");
    add_json_flag(*app, *json);
    return {app, [json](Console& console) { return devices(*json, console); }};
}

}  // namespace coldtune::cli
