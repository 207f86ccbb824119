#include "analyzer/bench/bench_faults.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/fft.hpp"

namespace coldtune::bench {
namespace {

double from_db(double db) {
    return std::pow(10.0, db / 20);
}

// Mean square by a single-pole average, the meter behind automatic gain and gate.
class LevelMeter {
public:
    LevelMeter(double time_s, double rate_hz, double start)
        : share_(1 - std::exp(-1 / (time_s * rate_hz))), mean_(start) {}
    double operator()(double sample) {
        mean_ += share_ * (sample * sample - mean_);
        return std::sqrt(mean_);
    }

private:
    double share_;
    double mean_;
};

}  // namespace

void add_harmonics(std::vector<double>& samples, const Nonlinearity& nonlinearity) {
    if (!nonlinearity.second_db && !nonlinearity.third_db) return;
    // For a full-scale sine, x^2 holds half its amplitude at twice and x^3 a quarter at three times the frequency.
    const double second = nonlinearity.second_db ? 2 * from_db(*nonlinearity.second_db) : 0;
    const double third = nonlinearity.third_db ? 4 * from_db(*nonlinearity.third_db) : 0;
    for (double& x : samples) x += x * x * (second + third * x);
}

void add_tone(std::vector<double>& samples, double frequency_hz, double amplitude, double phase, double true_rate_hz) {
    const double step = frequency_hz / true_rate_hz;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double turns = step * static_cast<double>(i);
        samples[i] += amplitude * std::sin(2 * std::numbers::pi * (turns - std::floor(turns)) + phase);
    }
}

void add_hum(std::vector<double>& samples, const Hum& hum, double level_dbfs, double true_rate_hz) {
    for (std::size_t i = 0; i < hum.harmonics.size(); ++i) {
        const double order = static_cast<double>(i + 1);
        // Phases of no meaning, only fixed.
        add_tone(samples, order * hum.mains_hz, from_db(level_dbfs) * hum.harmonics[i], 0.7 * order * order,
                 true_rate_hz);
    }
}

void add_echo(std::vector<double>& samples, double level_db, double delay_s, double rate_hz) {
    const auto delay = static_cast<std::size_t>(std::llround(delay_s * rate_hz));
    const double gain = from_db(level_db);
    for (std::size_t i = samples.size(); i-- > delay;) samples[i] += gain * samples[i - delay];
}

void pass_lower_rate(std::vector<double>& samples, double lower_rate_hz, double rate_hz) {
    if (samples.empty() || lower_rate_hz >= rate_hz) return;
    dsp::RealFft fft(samples.size());
    std::copy(samples.begin(), samples.end(), fft.time().begin());
    fft.forward();
    const auto cut =
        static_cast<std::size_t>(std::ceil(0.5 * lower_rate_hz / rate_hz * static_cast<double>(samples.size())));
    for (std::size_t k = cut; k < fft.bins(); ++k) fft.spectrum()[k] = 0;
    fft.inverse();
    std::copy(fft.time().begin(), fft.time().end(), samples.begin());
}

void automatic_gain(std::vector<double>& samples, double target_dbfs, double time_s, double rate_hz) {
    const double target = from_db(target_dbfs) * std::numbers::sqrt2 / 2;
    LevelMeter meter(time_s, rate_hz, target * target);
    // At most 20 dB up, or silence would be blown up to full scale.
    for (double& x : samples) x *= std::min(target / std::max(meter(x), 1e-30), 10.0);
}

void gate(std::vector<double>& samples, double threshold_dbfs, double rate_hz) {
    const double threshold = from_db(threshold_dbfs) * std::numbers::sqrt2 / 2;
    LevelMeter meter(0.005, rate_hz, 0);
    for (double& x : samples) {
        if (meter(x) < threshold) x = 0;
    }
}

void clip(std::vector<double>& samples, double level) {
    for (double& x : samples) x = std::clamp(x, -level, level);
}

void round_to_bits(std::vector<double>& samples, int bits) {
    if (bits <= 0) return;
    const double codes = std::ldexp(1.0, bits - 1);
    for (double& x : samples) x = std::clamp(std::nearbyint(x * codes), -codes, codes - 1) / codes;
}

void apply_block(std::vector<double>& samples, const BlockFault& fault) {
    const std::size_t first = std::min(fault.first_frame, samples.size());
    const std::size_t last = first + std::min(fault.frames, samples.size() - first);
    const auto at = [&](std::size_t i) { return samples.begin() + static_cast<std::ptrdiff_t>(i); };
    switch (fault.kind) {
        case BlockFault::Kind::zeros:
            std::fill(at(first), at(last), 0.0);
            break;
        case BlockFault::Kind::repeated:
            for (std::size_t i = first; i < last; ++i) {
                if (i >= fault.frames) samples[i] = samples[i - fault.frames];
            }
            break;
        case BlockFault::Kind::lost:
            std::fill(std::copy(at(last), samples.end(), at(first)), samples.end(), 0.0);
            break;
        case BlockFault::Kind::inserted:
            std::copy_backward(at(first), at(samples.size() - (last - first)), samples.end());
            std::fill(at(first), at(last), 0.0);
            break;
    }
}

}  // namespace coldtune::bench
