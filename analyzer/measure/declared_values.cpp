#include "analyzer/measure/declared_values.hpp"

#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

dsp::Response scaled(dsp::Response response, Complex factor) {
    for (Complex& r : response.ratio) r *= factor;
    return response;
}

// A short standard as a lead of this resistance and inductance would give it, noiseless. What the open standard shows
// beyond the declared input (the gains of two inputs, the whole interface with one) acts on it too.
dsp::Response lead_as_short(const BenchCaptures& b, double resistance_ohm, double inductance_h) {
    const double reference_ohm = b.values.reference_ohm;
    dsp::Response lead = b.standards.open ? *b.standards.open : b.coil;
    for (std::size_t k = 0; k < lead.ratio.size(); ++k) {
        const Complex z(resistance_ohm, 2 * std::numbers::pi * lead.frequency_hz[k] * inductance_h);
        Complex gain = 1;
        if (b.standards.open) {
            const double omega = 2 * std::numbers::pi * lead.frequency_hz[k];
            const Complex input(1 / b.values.input_resistance_ohm, omega * b.values.input_capacitance_f);
            gain = lead.ratio[k] * (1.0 + reference_ohm * input);
        }
        lead.ratio[k] = gain * z / (reference_ohm + z);
        lead.variance[k] = 0;
    }
    return lead;
}

// A short standard as a perfect lead would give it while input 1 leaks into input 2.
dsp::Response leak_as_short(const BenchCaptures& b, double at_10_khz) {
    dsp::Response leak = b.standards.open ? *b.standards.open : b.coil;
    for (std::size_t k = 0; k < leak.ratio.size(); ++k) {
        leak.ratio[k] = Complex(0, at_10_khz * leak.frequency_hz[k] / 10e3);
        leak.variance[k] = 0;
    }
    return leak;
}

}  // namespace

std::vector<DeclaredValue> declared_values(const dsp::Standards& standards, const BenchTolerances& t) {
    const double rectangular = 1 / std::sqrt(3.0);  // GUM 4.3.7
    std::vector<DeclaredValue> list;
    if (standards.load) {
        list.push_back(
            {"load standard", [=](BenchCaptures& b) { b.values.load_ohm *= 1 + t.load_relative * rectangular; }});
    } else {
        list.push_back({"reference resistor",
                        [=](BenchCaptures& b) { b.values.reference_ohm *= 1 + t.reference_relative * rectangular; }});
        list.push_back({"reference resistor's capacitance",
                        [=](BenchCaptures& b) { b.values.reference_capacitance_f += kReferenceOwn_f * rectangular; }});
        // The gains of the two inputs act on every capture of the bench alike.
        const auto mismatch = [](BenchCaptures& b, Complex factor) {
            b.coil = scaled(std::move(b.coil), factor);
            if (b.standards.open) b.standards.open = scaled(std::move(*b.standards.open), factor);
            if (b.standards.short_circuit)
                b.standards.short_circuit = scaled(std::move(*b.standards.short_circuit), factor);
        };
        list.push_back(
            {"channel gains", [=](BenchCaptures& b) { mismatch(b, 1 + t.channel_gain_relative * rectangular); }});
        list.push_back({"channel phase",
                        [=](BenchCaptures& b) { mismatch(b, std::polar(1.0, t.channel_phase_rad * rectangular)); }});
    }
    if (!standards.open) {
        list.push_back({"input capacitance", [=](BenchCaptures& b) {
                            b.values.input_capacitance_f *= 1 + t.input_capacitance_relative * rectangular;
                        }});
    }
    if (!standards.short_circuit) {
        list.push_back({"lead", [=](BenchCaptures& b) {
                            b.standards.short_circuit = lead_as_short(b, t.lead_resistance_ohm * rectangular,
                                                                      t.lead_inductance_h * rectangular);
                        }});
        list.push_back({"crosstalk of the inputs", [=](BenchCaptures& b) {
                            b.standards.short_circuit = leak_as_short(b, kCrosstalkAt10kHz * rectangular);
                        }});
    }
    return list;
}

}  // namespace coldtune::measure
