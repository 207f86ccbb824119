#include "tests/support/coil_circuit.hpp"

#include <cmath>
#include <numbers>

namespace coldtune::testing {
namespace {

using Complex = std::complex<long double>;

constexpr double attenuation_db = 90;
constexpr double pass_edge = 0.45;  // of the outer sample rate

template <typename T>
T bisect(T low, T high, const auto& f) {
    const bool rising = f(high) > 0;
    for (int i = 0; i < 200 && high - low > 0; ++i) {
        const T middle = low + (high - low) / 2;
        if ((f(middle) > 0) == rising) {
            high = middle;
        } else {
            low = middle;
        }
    }
    return low + (high - low) / 2;
}

}  // namespace

// Kaiser's formulas for length and shape (J. F. Kaiser, 1974; from memory): N = (A - 7.95) / (2.285 dw) and
// beta = 0.1102 (A - 8.7).
HalfBand::HalfBand(double pass) {
    const double transition = 2 * std::numbers::pi * (0.5 - 2 * pass);
    const double length = (attenuation_db - 7.95) / (2.285 * transition);
    half_ = static_cast<std::size_t>(std::ceil((length + 1) / 4)) + 1;
    const double beta = 0.1102 * (attenuation_db - 8.7);
    double sum = 0;
    for (std::size_t k = 1; k <= half_; ++k) {
        const auto offset = static_cast<double>(2 * k - 1);
        const double x = offset / static_cast<double>(2 * half_);
        const double window = std::cyl_bessel_i(0.0, beta * std::sqrt(1 - x * x)) / std::cyl_bessel_i(0.0, beta);
        const double sinc = (k % 2 == 1 ? 1 : -1) / (std::numbers::pi * offset);
        taps_.push_back(sinc * window);
        sum += 2 * taps_.back();
    }
    for (double& tap : taps_) tap *= 0.5 / sum;  // exactly 1 at zero frequency
    line_.assign(4 * half_, 0.0);
    centre_.assign(half_, 0.0);
}

void HalfBand::push(double x) {
    line_[position_] = line_[position_ + 2 * half_] = x;
    position_ = (position_ + 1) % (2 * half_);
}

// Sum over k of tap_k (x[n - J + k] + x[n - J + 1 - k]), J taps. The oldest of the 2 J samples is at position_.
double HalfBand::odd_taps() const {
    const double* newer = line_.data() + position_ + half_;
    const double* older = newer - 1;
    double even = 0;
    double odd = 0;
    std::size_t k = 0;
    for (; k + 1 < half_; k += 2) {
        even += taps_[k] * (newer[k] + *(older - k));
        odd += taps_[k + 1] * (newer[k + 1] + *(older - k - 1));
    }
    if (k < half_) even += taps_[k] * (newer[k] + *(older - k));
    return even + odd;
}

void HalfBand::up(double x, double& first, double& second) {
    push(x);
    first = 2 * odd_taps();
    second = *(line_.data() + position_ + half_);  // x[n - J + 1]
}

double HalfBand::down(double first, double second) {
    push(second);
    centre_[centre_position_] = first;
    centre_position_ = (centre_position_ + 1) % half_;
    return odd_taps() + 0.5 * centre_[centre_position_];  // first[n - J + 1]
}

CoilCircuit::CoilCircuit(const CoilDesign& design, double sample_rate_hz)
    : design_(design), rate_hz_(sample_rate_hz * oversampling) {
    const double w0 = 2 * std::numbers::pi * design.frequency_hz;
    k_ = w0 / std::tan(w0 / (2 * rate_hz_));
    double pass = pass_edge / 2;
    for (std::size_t factor = 2; factor <= oversampling; factor *= 2, pass /= 2) {
        up_.emplace_back(pass);
        down_generator_.emplace_back(pass);
        down_coil_.emplace_back(pass);
    }
    const double inductance = design.q * design.resistance_ohm / w0;
    const double capacitance = 1 / (w0 * w0 * inductance);
    shunt_siemens_ = k_ * design.input_f;
    if (design.fixture == Fixture::foot) {
        inductor_ohm_ = k_ * inductance;
        capacitor_ohm_ = 1 / (k_ * capacitance);
        branch_siemens_ = 1 / (design.resistance_ohm + inductor_ohm_ + capacitor_ohm_);
        shunt_siemens_ += k_ * design.stray_f;
    }
    reference_siemens_ = 1 / design.reference_ohm;
    double total_siemens = reference_siemens_ + design.input_siemens + branch_siemens_ + shunt_siemens_;
    if (design.fixture == Fixture::load) total_siemens += 1 / design.load_ohm;
    node_ohm_ = 1 / total_siemens;
}

// The trapezoidal companion models of L, C and the shunt capacitance, which are the bilinear transform exactly.
double CoilCircuit::step(double generator) {
    if (design_.fixture == Fixture::shorted) return 0;
    double branch_history = 0;
    if (branch_siemens_ > 0) {
        branch_history =
            branch_siemens_ * (current_ * inductor_ohm_ + inductor_v_ - capacitor_v_ - capacitor_ohm_ * current_);
    }
    const double shunt_history = -shunt_siemens_ * coil_v_ - shunt_current_;
    const double v = (generator * reference_siemens_ - branch_history - shunt_history) * node_ohm_;
    if (branch_siemens_ > 0) {
        const double current = branch_siemens_ * v + branch_history;
        inductor_v_ = (current - current_) * inductor_ohm_ - inductor_v_;
        capacitor_v_ += capacitor_ohm_ * (current + current_);
        current_ = current;
    }
    shunt_current_ = shunt_siemens_ * v + shunt_history;
    coil_v_ = v;
    return v;
}

void CoilCircuit::process(double generator, double& generator_side, double& coil_side) {
    std::array<double, oversampling> a = {generator};
    std::array<double, oversampling> b = {};
    std::size_t count = 1;
    for (HalfBand& stage : up_) {
        for (std::size_t i = 0; i < count; ++i) stage.up(a[i], b[2 * i], b[2 * i + 1]);
        a = b;
        count *= 2;
    }
    for (std::size_t i = 0; i < count; ++i) b[i] = step(a[i]);
    for (std::size_t stage = up_.size(); stage-- > 0;) {
        count /= 2;
        for (std::size_t i = 0; i < count; ++i) {
            a[i] = down_generator_[stage].down(a[2 * i], a[2 * i + 1]);
            b[i] = down_coil_[stage].down(b[2 * i], b[2 * i + 1]);
        }
    }
    generator_side = a[0];
    coil_side = b[0];
}

long double CoilCircuit::warped_rad(long double frequency_hz) const {
    return static_cast<long double>(k_) * std::tan(std::numbers::pi_v<long double> * frequency_hz / rate_hz_);
}

std::complex<long double> CoilCircuit::ratio(long double frequency_hz) const {
    if (design_.fixture == Fixture::shorted) return 0;
    const long double w0 = 2 * std::numbers::pi_v<long double> * design_.frequency_hz;
    const long double warped = warped_rad(frequency_hz);
    const long double r = design_.resistance_ohm;
    const long double inductance = design_.q * r / w0;
    Complex y(design_.input_siemens, warped * design_.input_f);
    if (design_.fixture == Fixture::foot) {
        y += Complex(0, warped * design_.stray_f);
        y += 1.0L / Complex(r, warped * inductance - w0 * w0 * inductance / warped);
    }
    if (design_.fixture == Fixture::load) y += 1.0L / design_.load_ohm;
    return 1.0L / (1.0L + static_cast<long double>(design_.reference_ohm) * y);
}

std::complex<long double> CoilCircuit::admittance(long double frequency_hz) const {
    const auto m = ratio(frequency_hz);
    const Complex input(design_.input_siemens, warped_rad(frequency_hz) * design_.input_f);
    return (1.0L - m) / (static_cast<long double>(design_.reference_ohm) * m) - input;
}

long double CoilCircuit::zero_reactance_hz() const {
    const long double f0 = design_.frequency_hz;
    const long double width = f0 / design_.q;
    return bisect(f0 - width / 4, f0 + width / 4, [&](long double f) { return admittance(f).imag(); });
}

long double CoilCircuit::half_power_q() const {
    const long double f0 = design_.frequency_hz;
    const long double half = admittance(f0).real() / 2;
    const long double width = f0 / design_.q;
    const auto above = [&](long double f) { return admittance(f).real() - half; };
    return f0 / (bisect(f0, f0 + 2 * width, above) - bisect(f0 - 2 * width, f0, above));
}

}  // namespace coldtune::testing
