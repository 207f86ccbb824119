// coldtune follow: the resonance live, while something is moved by hand.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <memory>
#include <nlohmann/json.hpp>
#include <stop_token>
#include <thread>

#include "analyzer/cli/bench_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/interrupt.hpp"
#include "analyzer/cli/port_options.hpp"
#include "analyzer/measure/follow.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::cli {
namespace {

using record::Json;

struct FollowOptions {
    PortOptions port;
    BenchOptions bench;
    double seconds = 0;
    std::size_t readings = 0;
    bool json = false;
};

std::string line_of(const measure::FollowReading& reading, const std::optional<double>& first_hz) {
    const auto* r = reading.result.resonance();
    if (r == nullptr) {
        const auto& findings = reading.result.findings;
        return fmt::format("{:8.2f} s   {}", reading.at_s,
                           findings.empty() ? std::string("nothing seen") : findings.front().text);
    }
    std::string line =
        fmt::format("{:8.2f} s   {}", reading.at_s,
                    record::format_with_uncertainty(r->frequency_hz, r->frequency_u95_hz, record::Unit::hertz));
    if (r->q) line += fmt::format("   Q {:.1f}", *r->q);
    if (r->way != measure::Way::in_band) line += fmt::format("   {}", measure::way_name(r->way));
    if (first_hz) line += fmt::format("   {:+.3f} % since the first", 100 * (r->frequency_hz / *first_hz - 1));
    return line;
}

Json json_of(const measure::FollowReading& reading) {
    const auto* r = reading.result.resonance();
    Json json{{"number", reading.number},  {"at_s", reading.at_s},
              {"late_s", reading.late_s},  {"verdict", measure::verdict_name(reading.result.verdict())},
              {"findings", Json::array()}, {"resonance", nullptr}};
    for (const auto& f : reading.result.findings) {
        json["findings"].push_back({{"code", measure::code_name(f.code)}, {"text", f.text}});
    }
    if (r != nullptr) {
        json["resonance"] = {{"way", measure::way_name(r->way)},
                             {"frequency_hz", r->frequency_hz},
                             {"frequency_u95_hz", r->frequency_u95_hz},
                             {"q", r->q ? Json(*r->q) : Json(nullptr)},
                             {"q_u95", r->q_u95 ? Json(*r->q_u95) : Json(nullptr)}};
    }
    return json;
}

ExitCode run(const FollowOptions& o, Console& console) {
    auto request = make_request(o.bench);
    if (!request) return console.fail("follow", request.error());
    auto port = open_port(o.port, request->hookup);
    if (!port) return console.fail("follow", port.error());
    auto session = session_settings(o.port, *request, **port);
    if (!session) return console.fail("follow", session.error());
    show_cautions(console, o.port, request->hookup);

    measure::FollowSettings settings{*session, std::move(*request)};
    std::stop_source stop;
    const InterruptGuard guard;
    Json readings = Json::array();
    std::optional<double> first_hz;
    std::size_t count = 0;
    double update_s = 0;
    // A watcher of the interrupt beside the readings: none may come for a while.
    const std::jthread watcher([&](const std::stop_token& done) {
        while (!done.stop_requested()) {
            if (interrupted()) stop.request_stop();
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
    });
    const Status status = measure::follow(
        **port, settings, stop.get_token(),
        [&](measure::FollowReading&& reading) {
            console.end_progress();
            ++count;
            update_s = reading.period_s;
            if (o.json) {
                readings.push_back(json_of(reading));
            } else {
                console.print(line_of(reading, first_hz) + "\n");
            }
            if (!first_hz && reading.result.resonance() != nullptr) first_hz = reading.result.resonance()->frequency_hz;
            if ((o.seconds > 0 && reading.at_s >= o.seconds) || (o.readings > 0 && count >= o.readings))
                stop.request_stop();
        },
        [&](const measure::SessionProgress& p) { console.progress(p); });
    console.end_progress();
    if (!status) return console.fail("follow", status.error());
    if (o.json) {
        const Json out{{"schema", "coldtune.follow.v1"},
                       {"program_version", COLDTUNE_VERSION},
                       {"update_s", update_s},
                       {"readings", std::move(readings)}};
        console.print(record::json_text(out, 2) + "\n");
    }
    return ExitCode::done;
}

}  // namespace

Command add_follow(CLI::App& root) {
    auto o = std::make_shared<FollowOptions>();
    CLI::App* app = root.add_subcommand("follow", "Show the resonance live while a top load or a tap is moved by hand");
    add_port_options(*app, o->port, "Frames in one period of the loop (default: about 1/6 s)");
    add_bench_options(*app, o->bench);
    add_quantity(*app, "--seconds", o->seconds, record::Unit::second,
                 "End by itself after this time (default: Ctrl-C)");
    app->add_option("--readings", o->readings, "End by itself after so many readings");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return run(*o, console); }};
}

}  // namespace coldtune::cli
