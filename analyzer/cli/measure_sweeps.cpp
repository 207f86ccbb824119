#include "analyzer/cli/measure_sweeps.hpp"

#include <fmt/format.h>

#include <string>
#include <utility>

#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/cli/interrupt.hpp"
#include "analyzer/measure/one_input.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

measure::SessionProgressCallback progress_of(Console& console, std::stop_source& stop) {
    return [&](const measure::SessionProgress& p) {
        if (interrupted()) stop.request_stop();
        console.progress(p);
    };
}

// What to connect, in the words of the bench.
std::string instruction(bench::Hookup hookup, double load_ohm) {
    switch (hookup) {
        case bench::Hookup::open:
            return "let the clip hang where the foot is, touching nothing";
        case bench::Hookup::load:
            return fmt::format("clip the load resistor ({}) between the lead and the return",
                               record::format_quantity(load_ohm, record::Unit::ohm));
        case bench::Hookup::short_circuit:
            return "clip the lead to the return";
        case bench::Hookup::winding:
            return "clip the lead to the foot, the head tied to the return";
        case bench::Hookup::tank:
            return "clip the lead to the tank, the gap bridged";
        default:
            return "clip the lead to the foot, the head free";
    }
}

}  // namespace

Status write_by_extension(const std::filesystem::path& path, const audio::CaptureFile& file) {
    const auto format = path.extension() == ".flac" ? audio::SampleFormat::pcm24 : audio::SampleFormat::float32;
    return audio::write_capture(path, file.capture, format, file.note);
}

std::filesystem::path standard_path(const std::filesystem::path& out, bench::Hookup standard) {
    std::filesystem::path path = out;
    path.replace_extension(fmt::format(".{}{}", bench::describe(standard).name, out.extension().string()));
    return path;
}

Status sweep_two_inputs(audio::AudioPort& port, const measure::SessionSettings& settings, Console& console,
                        measure::AnalysisRequest& request) {
    std::stop_source stop;
    const InterruptGuard guard;
    auto record = measure::run_session(port, settings, stop.get_token(), progress_of(console, stop));
    console.end_progress();
    if (!record) return record.error();
    request.coil = std::move(record->capture);
    return Done{};
}

Status sweep_one_input(audio::AudioPort& port, const measure::SessionSettings& settings, bool with_short,
                       const std::filesystem::path& out, Console& console, measure::AnalysisRequest& request) {
    std::stop_source stop;
    const InterruptGuard guard;
    auto* simulated = dynamic_cast<bench::SimulatedPort*>(&port);
    bool input_ended = false;
    const auto connect = [&](bench::Hookup hookup) {
        console.end_progress();
        if (simulated != nullptr) {
            simulated->connect(hookup);
            return true;
        }
        console.say(fmt::format("{}: {}; then press Enter", bench::describe(hookup).name,
                                instruction(hookup, settings.bench.load_ohm)));
        if (wait_for_enter()) return true;
        input_ended = !interrupted();
        return false;
    };
    auto record = measure::run_one_input_session(port, settings, with_short, connect, stop.get_token(),
                                                 progress_of(console, stop));
    console.end_progress();
    if (!record) {
        if (!input_ended) return record.error();
        return rejected(
            "standard input ended before all was connected; run it where somebody can press Enter between the sweeps");
    }
    for (auto& [hookup, file] : record->standards) {
        const auto path = standard_path(out, hookup);
        auto& place = hookup == bench::Hookup::open   ? request.open
                      : hookup == bench::Hookup::load ? request.load
                                                      : request.short_circuit;
        place = measure::Standard{std::move(file), path.string()};
    }
    request.coil = std::move(record->coil.capture);
    return Done{};
}

}  // namespace coldtune::cli
