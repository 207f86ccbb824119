#include "analyzer/measure/standard_gain.hpp"

#include <complex>
#include <numbers>

#include "analyzer/measure/held_captures.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

// The standard on the declared bench, as exactly as the coil itself was heard.
dsp::Response expected(const dsp::Response& like, const dsp::BenchValues& bench, bench::Hookup standard) {
    dsp::Response out = like;
    for (std::size_t i = 0; i < out.frequency_hz.size(); ++i) {
        const double omega = 2 * std::numbers::pi * out.frequency_hz[i];
        Complex admittance(1 / bench.input_resistance_ohm, omega * bench.input_capacitance_f);
        if (standard == bench::Hookup::load) admittance += 1 / bench.load_ohm;
        out.ratio[i] = standard == bench::Hookup::short_circuit ? 0.0 : 1.0 / (1.0 + bench.reference_ohm * admittance);
    }
    return out;
}

}  // namespace

std::vector<StandardGain> gains_of_standards(const AnalysisRequest& request, AnalysisContext& context) {
    std::vector<StandardGain> gains;
    if (!bench::seeks_resonance(request.hookup) || request.hookup == bench::Hookup::pickup ||
        request.hookup == bench::Hookup::winding || from_one_input(request.coil)) {
        return gains;
    }
    const auto response = response_of(request.coil, known_period(request.coil, request.period_frames),
                                      settle_of(request.coil, request.settle_periods));
    if (!response) return gains;
    AnalysisRequest with_load = request;
    // Any value will do where none was declared: a known resistor of about the reference's size.
    if (!(with_load.bench.load_ohm > 0)) with_load.bench.load_ohm = with_load.bench.reference_ohm;
    const auto look = [&](bench::Hookup standard, std::optional<dsp::Response>& place) {
        if (place) return;
        place = expected(*response, with_load.bench, standard);
        if (const auto result = analyze_prepared(with_load, context); result && result->resonance() != nullptr) {
            gains.push_back({standard, result->resonance()->frequency_u95_hz, result->resonance()->q_u95});
        }
        place.reset();
    };
    look(bench::Hookup::open, context.standards.open);
    look(bench::Hookup::short_circuit, context.standards.short_circuit);
    look(bench::Hookup::load, context.standards.load);
    return gains;
}

}  // namespace coldtune::measure
