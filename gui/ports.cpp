// What stands behind the window's bench: PortAudio, or the simulated bench playing the coil that is described.
#include <cmath>

#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/model/tank.hpp"
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
    if (request.coil && request.coil->primary && request.coil->tank) {
        // The described tank, a little off, as the coil is; its Q that of copper and a good capacitor.
        constexpr double kInductance = 1.015, kCapacitance = 0.985, kMoreLeads_h = 0.15e-6, kQ = 120;
        const double inductance_h = model::tank_inductance_h(*request.coil->primary, *request.coil->tank);
        bench.tank.inductance_h = inductance_h * kInductance + kMoreLeads_h;
        bench.tank.capacitance_f = request.coil->tank->capacitance_f * kCapacitance;
        bench.tank.resistance_ohm = std::sqrt(bench.tank.inductance_h / bench.tank.capacitance_f) / kQ;
        bench.primary_circuit = request.primary;
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
