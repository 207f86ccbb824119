#include <algorithm>
#include <cmath>
#include <complex>

#include "dsp/capture_health_parts.hpp"
#include "dsp/fft.hpp"
#include "dsp/resample.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

// Spectra of the average of the first `each` periods and of the next `each`.
struct Halves {
    std::vector<Complex> first, second;
};

Halves halves_of(const std::vector<double>& channel, std::size_t n, std::size_t each, const Response& response) {
    std::vector<double> read;
    std::span<const double> samples;
    if (response.drift_removed) {
        read.resize(2 * each * n);
        read_at(channel, static_cast<double>(response.first_frame), 1.0 + response.clock_drift_ppm.value_or(0) * 1e-6,
                read);
        samples = read;
    } else {
        samples = std::span<const double>(channel).subspan(response.first_frame, 2 * each * n);
    }
    RealFft fft(n);
    const auto average = [&](std::size_t from) {
        const auto time = fft.time();
        std::fill(time.begin(), time.end(), 0.0);
        for (std::size_t p = from; p < from + each; ++p)
            for (std::size_t i = 0; i < n; ++i) time[i] += samples[p * n + i];
        for (double& value : time) value /= static_cast<double>(each);
        fft.forward();
        return std::vector<Complex>(fft.spectrum().begin(), fft.spectrum().end());
    };
    Halves halves;
    halves.first = average(0);
    halves.second = average(each);
    return halves;
}

// Mean power that repeats at a silent bin over mean power at an excited bin: distortion spreads over all bins, so this
// is also what it does to an excited one. What scatters between the halves is taken off; where nothing is left above
// the uncertainty of that, there is none.
std::optional<double> distortion(const Halves& halves, const std::vector<char>& excited, std::size_t lowest,
                                 std::size_t highest) {
    double largest = 0;
    for (std::size_t k = lowest; k <= highest; ++k) largest = std::max(largest, std::norm(halves.first[k]));
    if (!(largest > 1e-290) || !std::isfinite(largest)) return std::nullopt;
    const double scale = 1 / largest;  // squares of powers stay within a double's range
    double silent = 0, variance = 0, signal = 0;
    std::size_t count = 0, sounding = 0;
    for (std::size_t k = lowest; k <= highest; ++k) {
        const Complex mean = 0.5 * (halves.first[k] + halves.second[k]);
        if (excited[k] != 0) {
            signal += scale * std::norm(mean);
            ++sounding;
            continue;
        }
        const double noise = scale * 0.25 * std::norm(halves.first[k] - halves.second[k]);
        silent += scale * std::norm(mean) - noise;
        variance += noise * noise;
        ++count;
    }
    if (count < 16 || !(signal > 0)) return std::nullopt;
    // Four standard deviations: noise alone does not get there.
    if (silent < 4 * std::sqrt(variance) || !(silent > 1e-30 * signal)) return std::nullopt;
    const double share = static_cast<double>(sounding) / static_cast<double>(count);
    return 10.0 * std::log10(share * silent / signal);
}

}  // namespace

PeriodFacts period_facts(const TwoChannelCapture& capture, std::size_t period_frames, const Response& response) {
    PeriodFacts facts;
    const std::size_t n = period_frames;
    if (response.way != ResponseWay::whole_periods || response.averages < 2) return facts;
    const std::size_t each = response.averages / 2;
    if (response.first_frame + 2 * each * n > capture.frames()) return facts;
    const Halves generator = halves_of(capture.generator, n, each, response);
    const Halves coil = halves_of(capture.coil, n, each, response);

    const double per_hz = static_cast<double>(n) / capture.sample_rate_hz;
    std::vector<std::size_t> bins;
    for (const double f : response.frequency_hz) bins.push_back(static_cast<std::size_t>(std::llround(f * per_hz)));
    // The response may have been cut to a band: what the generator excites outside it is not silent.
    std::vector<char> excited(n / 2 + 1, 0);
    double weakest = 0;
    for (const std::size_t k : bins) {
        excited[k] = 1;
        const double power = std::norm(generator.first[k]);
        weakest = weakest > 0 ? std::min(weakest, power) : power;
    }
    for (std::size_t k = 1; k < excited.size(); ++k)
        if (std::norm(generator.first[k]) >= weakest) excited[k] = 1;
    // From 700 Hz: below it lie the mains and its harmonics, which may repeat with the period by chance.
    const std::size_t lowest = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(700.0 * per_hz)));
    // A little beyond the band a sweep usually takes: odd distortion spills over its upper edge, and the converters'
    // filters still let it through.
    const std::size_t highest = n * 93 / 200;
    facts.generator_distortion_db = distortion(generator, excited, lowest, highest);
    facts.coil_distortion_db = distortion(coil, excited, lowest, highest);

    // Change of the ratio in units of its standard deviation, rms over stretches of 16 bins: 1 for noise alone (up to
    // about 1.6 for the largest of thousands of stretches).
    constexpr std::size_t stretch = 16;
    const double both = static_cast<double>(response.averages) * 2.0 / static_cast<double>(each);
    double largest = 0;
    for (std::size_t from = 0; from < bins.size(); from += stretch) {
        const std::size_t first = bins.size() < stretch ? 0 : std::min(from, bins.size() - stretch);
        const std::size_t last = std::min(bins.size(), first + stretch);
        double sum = 0;
        for (std::size_t i = first; i < last; ++i) {
            const std::size_t k = bins[i];
            const Complex change = coil.second[k] / generator.second[k] - coil.first[k] / generator.first[k];
            sum += std::norm(change) / (response.variance[i] * both);
        }
        largest = std::max(largest, sum / static_cast<double>(last - first));
    }
    facts.unsteadiness_sigma = std::sqrt(largest);
    return facts;
}

}  // namespace coldtune::dsp
