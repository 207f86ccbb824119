// A coil on the bench as a sampled system whose response is known exactly: what the JACK client runs.
//
//     generator o---[ reference ]---+---- coil side            every hookup: the input itself, a resistance parallel
//     with
//                                   |                          a capacitance (its cable) to the return
//                     foot: (R - L - C in series) parallel with `stray`;  open: nothing;  short: a link;  load: a
//                     resistor
//
// The circuit runs at 8 times the sample rate between an interpolator and a decimator, as a real one stands between
// two converters. Generator side and coil side pass the same filters, so these cancel in the ratio; what they let
// through of images and aliases is under -90 dB twice, below 0.45 of the sample rate. The circuit itself is discretised
// by the bilinear transform s = K (1 - 1/z)/(1 + 1/z), K = w0 / tan(w0 T / 2): at any frequency w its admittance is
// EXACTLY the analogue one at K tan(w T / 2), and the branch resonates exactly at w0. Nothing of this is shared with
// the program.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <vector>

namespace coldtune::testing {

enum class Fixture { foot, open, shorted, load };

struct CoilDesign {
    double frequency_hz = 60e3;  // of the series branch
    double q = 120;              // w0 L / R
    double resistance_ohm = 130;
    double stray_f = 8e-12;
    double input_f = 0;
    double input_siemens = 0;
    double reference_ohm = 10e3;
    double load_ohm = 10e3;
    Fixture fixture = Fixture::foot;
};

// One 2:1 rate change by a half-band filter (Kaiser window, 90 dB, symmetric), either way.
class HalfBand {
public:
    // `pass` in units of the higher rate: passes below, stops above 1/2 - pass.
    explicit HalfBand(double pass);
    void up(double x, double& first, double& second);
    double down(double first, double second);

private:
    double odd_taps() const;
    void push(double x);
    std::vector<double> taps_;  // of the odd offsets 1, 3, 5 ...
    std::size_t half_;          // number of taps
    std::vector<double> line_;  // twice the delay line, so that it is contiguous from any position
    std::size_t position_ = 0;
    std::vector<double> centre_;
    std::size_t centre_position_ = 0;
};

class CoilCircuit {
public:
    static constexpr std::size_t oversampling = 8;

    CoilCircuit(const CoilDesign& design, double sample_rate_hz);

    // One frame: the generator's output in, both sides out.
    void process(double generator, double& generator_side, double& coil_side);

    // V_coil / V_generator, exact (up to the -180 dB of images).
    [[nodiscard]] std::complex<long double> ratio(long double frequency_hz) const;
    // What hangs at the coil side as the ratio shows it, 1/Z = (1 - m) / (R m), less the input itself.
    [[nodiscard]] std::complex<long double> admittance(long double frequency_hz) const;
    // The design values of the discrete system: zero of the reactance at the foot; resonance over the width at half of
    // the largest conductance. Found by bisection on admittance(). For Fixture::foot.
    [[nodiscard]] long double zero_reactance_hz() const;
    [[nodiscard]] long double half_power_q() const;

private:
    double step(double generator);
    // Where the bilinear transform takes a frequency.
    [[nodiscard]] long double warped_rad(long double frequency_hz) const;

    CoilDesign design_;
    double rate_hz_;  // oversampled
    double k_ = 0;    // of the bilinear transform, 1/s
    double reference_siemens_ = 0, branch_siemens_ = 0, inductor_ohm_ = 0, capacitor_ohm_ = 0, shunt_siemens_ = 0,
           node_ohm_ = 0;
    double current_ = 0, inductor_v_ = 0, capacitor_v_ = 0, shunt_current_ = 0, coil_v_ = 0;
    std::vector<HalfBand> up_, down_generator_, down_coil_;
};

}  // namespace coldtune::testing
