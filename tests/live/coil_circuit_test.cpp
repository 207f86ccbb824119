// The coil that the live tests measure must itself be what it says: its samples against its stated response.
#include "tests/support/coil_circuit.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace coldtune::testing {
namespace {

// Impulse responses of both sides, and their ratio at one frequency by the defining sum.
class Impulse {
public:
    Impulse(const CoilDesign& design, double rate_hz) : rate_hz_(rate_hz) {
        CoilCircuit circuit(design, rate_hz);
        // The slowest coil here (Q 300 at 20 kHz, 96 kHz) falls by exp(-pi 20e3 0.25 / 300) = 2e-23.
        generator_.resize(static_cast<std::size_t>(0.25 * rate_hz));
        coil_.resize(generator_.size());
        for (std::size_t n = 0; n < coil_.size(); ++n) circuit.process(n == 0 ? 1.0 : 0.0, generator_[n], coil_[n]);
    }
    [[nodiscard]] std::complex<double> ratio(double frequency_hz) const {
        std::complex<double> generator = 0;
        std::complex<double> coil = 0;
        for (std::size_t n = 0; n < coil_.size(); ++n) {
            const double turns = std::fmod(frequency_hz * static_cast<double>(n) / rate_hz_, 1.0);
            const auto turn = std::polar(1.0, -2 * std::numbers::pi * turns);
            generator += generator_[n] * turn;
            coil += coil_[n] * turn;
        }
        return coil / generator;
    }

private:
    double rate_hz_;
    std::vector<double> generator_, coil_;
};

TEST(CoilCircuit, SamplesHaveTheStatedResponse) {
    for (const double rate : {96e3, 192e3}) {
        for (const double q : {20.0, 300.0}) {
            CoilDesign design;
            design.frequency_hz = rate / 96e3 * 20e3;
            design.q = q;
            design.input_f = 150e-12;
            design.input_siemens = 1e-6;
            const CoilCircuit circuit(design, rate);
            const Impulse impulse(design, rate);
            for (const double relative : {0.05, 0.9, 0.999, 1.0, 1.002, 1.2, 2.0}) {
                const double f = relative * design.frequency_hz;
                const auto stated = std::complex<double>(circuit.ratio(f));
                // Images and aliases are down by 90 dB on the way up and again on the way down, -180 dB; rounding of
                // some 1e5 sums of numbers near 1 stays below 1e-9 as well.
                EXPECT_LT(std::abs(impulse.ratio(f) - stated), 1e-8) << "at " << f << " Hz, Q " << q;
            }
        }
    }
}

TEST(CoilCircuit, DesignValuesAreThoseOfTheAnalogueCoilSlightlyWarped) {
    CoilDesign design;
    design.frequency_hz = 40e3;
    design.q = 150;
    design.stray_f = 0;
    const CoilCircuit bare(design, 192e3);
    // Without stray the reactance vanishes where the bilinear transform is exact by choice of K.
    EXPECT_NEAR(static_cast<double>(bare.zero_reactance_hz()), 40e3, 1e-6);
    // The transform compresses the axis at w0 by w0 T / sin(w0 T); the half-power width is a difference of two
    // bisections of some 1e-13 relative, so the remaining difference is the curvature over the width, about 1/Q^2 of
    // it.
    const double angle = 2 * std::numbers::pi * 40e3 / (192e3 * CoilCircuit::oversampling);
    EXPECT_NEAR(static_cast<double>(bare.half_power_q()) / (150 * angle / std::sin(angle)), 1.0, 1e-4);
    // Stray in parallel moves the zero of the reactance up by f0 (w0 Cs R) / (2 Q) to first order (it is the sum of two
    // susceptances); second order is smaller by w0 Cs R.
    design.stray_f = 20e-12;
    const CoilCircuit stray(design, 192e3);
    const double loss = 2 * std::numbers::pi * 40e3 * design.stray_f * design.resistance_ohm;
    const double shift = 40e3 * loss / (2 * static_cast<double>(bare.half_power_q()));
    EXPECT_NEAR(static_cast<double>(stray.zero_reactance_hz()) - 40e3, shift, 0.01 * shift);
}

TEST(CoilCircuit, StandardsAreWhatTheyAreCalled) {
    CoilDesign design;
    design.fixture = Fixture::shorted;
    EXPECT_EQ(Impulse(design, 96e3).ratio(10e3), 0.0);
    design.fixture = Fixture::open;
    EXPECT_LT(std::abs(Impulse(design, 96e3).ratio(10e3) - 1.0), 1e-9);  // rounding
    design.fixture = Fixture::load;
    design.load_ohm = 5e3;  // a third of 5k + 10k
    EXPECT_LT(std::abs(Impulse(design, 96e3).ratio(10e3) - 1.0 / 3), 1e-9);
}

}  // namespace
}  // namespace coldtune::testing
