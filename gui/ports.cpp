// What stands behind the window's bench: PortAudio, or the simulated bench playing the coil that is described.
#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "gui/workers.hpp"

namespace coldtune::gui {
namespace {

bench::Bench simulated_bench(const PortRequest& request) {
    bench::Bench bench = bench::default_bench();
    if (request.coil) {
        if (auto* coil = std::get_if<bench::CoilOnBench>(&bench.coil)) coil->description = *request.coil;
    }
    if (request.sample_rate_hz > 0 && request.sample_rate_hz != bench.interface.sample_rate_hz) {
        // The filters of an interface follow its rate.
        const double ratio = request.sample_rate_hz / bench.interface.sample_rate_hz;
        bench.interface.anti_alias.corner_hz *= ratio;
        bench.interface.sample_rate_hz = request.sample_rate_hz;
    }
    // Parts are never quite what is printed on them.
    if (request.reference_ohm > 0) bench.wiring.reference_ohm *= request.reference_ohm / 10e3;
    if (request.load_ohm > 0) bench.wiring.load_ohm = request.load_ohm;
    return bench;
}

}  // namespace

PortFactory usual_ports(double simulated_pace) {
    return [simulated_pace](const PortRequest& request) -> std::unique_ptr<audio::AudioPort> {
        if (!request.simulated) return audio::make_portaudio_port();
        return bench::make_simulated_port(simulated_bench(request), request.hookup, simulated_pace);
    };
}

}  // namespace coldtune::gui
