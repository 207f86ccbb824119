#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/capture_check.hpp"
#include "dsp/excited_bins.hpp"
#include "dsp/fft.hpp"
#include "dsp/response.hpp"
#include "dsp/scatter_noise.hpp"
#include "dsp/signal_extent.hpp"
#include "dsp/silence_noise.hpp"
#include "dsp/smooth_length.hpp"
#include "dsp/spectra.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t least_segment = 64;
// Longer segments resolve nothing more: 5 s at 192 kHz part 0.2 Hz, a fiftieth of the width of 5 kHz with a Q of 500.
constexpr std::size_t longest_segment = std::size_t{1} << 20U;
constexpr std::size_t parts_kept = 4;       // of two segments at least
constexpr std::size_t least_silence = 512;  // frames on each side that make a record a one-shot
// More lines than this are merged where a resonance could not be that narrow.
constexpr std::size_t plenty = 65536;
// A line of Q = 400, the sharpest resonance expected, is still 50 merged bins wide.
constexpr double finest_relative_width = 1.0 / 20000.0;

// Grows noise where the ratio is rougher from bin to bin than its stated variance explains (noise of the source, hum's
// skirts, anything absent from the silence). Third differences do not see a ratio that changes like a parabola over
// four bins; the median over some 200 of them does not see a narrow resonance. Factor 1 where all is explained.
std::vector<double> roughness(const std::vector<std::size_t>& bins, const std::vector<Complex>& ratio,
                              const std::vector<double>& variance, bool only_raise) {
    const std::size_t count = bins.size();
    std::vector<double> relative;  // |third difference|^2 over its expectation, and the bin it belongs to
    std::vector<std::size_t> at;
    for (std::size_t i = 0; i + 3 < count; ++i) {
        if (bins[i + 3] - bins[i] != 3) continue;
        const Complex d = ratio[i + 3] - 3.0 * ratio[i + 2] + 3.0 * ratio[i + 1] - ratio[i];
        const double expected = variance[i] + 9 * variance[i + 1] + 9 * variance[i + 2] + variance[i + 3];
        if (!(expected > 0)) continue;
        relative.push_back(std::norm(d) / expected);
        at.push_back(i + 1);
    }
    std::vector<double> factor(count, 1.0);
    if (relative.size() < 24) return factor;
    const std::size_t half = std::min<std::size_t>(100, (relative.size() - 1) / 2);
    std::vector<double> scratch;
    std::size_t previous_bin = 0;
    double previous = -1;
    for (std::size_t centre = 0;; centre = std::min(centre + half, relative.size() - 1)) {
        const std::size_t low = std::min(centre > half ? centre - half : 0, relative.size() - (2 * half + 1));
        scratch.assign(relative.begin() + static_cast<std::ptrdiff_t>(low),
                       relative.begin() + static_cast<std::ptrdiff_t>(low + 2 * half + 1));
        const auto middle = scratch.begin() + static_cast<std::ptrdiff_t>(half);
        std::nth_element(scratch.begin(), middle, scratch.end());
        double here = *middle / std::numbers::ln2;  // median of an exponential distribution
        // Medians of 200 overlapping differences scatter by some 15 %: less is no evidence.
        if (only_raise && here < 1.5) here = 1.0;
        const std::size_t bin = at[centre];
        if (previous < 0) std::fill_n(factor.begin(), bin, here);
        for (std::size_t i = previous_bin; previous >= 0 && i < bin; ++i) {
            const double t = static_cast<double>(i - previous_bin) / static_cast<double>(bin - previous_bin);
            factor[i] = previous + (here - previous) * t;
        }
        previous = here;
        previous_bin = bin;
        if (centre + 1 >= relative.size()) break;
    }
    std::fill(factor.begin() + static_cast<std::ptrdiff_t>(previous_bin), factor.end(), previous);
    return factor;
}

// Neighbouring bins together, weighted by the inverse of their variances, as long as they lie within a
// twenty-thousandth of their frequency.
Response merge(const Response& fine) {
    Response merged = fine;
    for (auto* part : {&merged.frequency_hz, &merged.variance, &merged.generator_amplitude, &merged.coil_amplitude,
                       &merged.generator_noise, &merged.coil_noise})
        part->clear();
    merged.ratio.clear();
    for (std::size_t from = 0; from < fine.ratio.size();) {
        const double limit = fine.frequency_hz[from] * (1 + finest_relative_width);
        double weight = 0, f = 0, g2 = 0, c2 = 0, gn2 = 0, cn2 = 0;
        Complex sum;
        std::size_t to = from;
        for (; to < fine.ratio.size() && (to == from || fine.frequency_hz[to] < limit); ++to) {
            const double w = 1 / fine.variance[to];
            weight += w;
            f += w * fine.frequency_hz[to];
            sum += w * fine.ratio[to];
            g2 += fine.generator_amplitude[to] * fine.generator_amplitude[to];
            c2 += fine.coil_amplitude[to] * fine.coil_amplitude[to];
            gn2 += fine.generator_noise[to] * fine.generator_noise[to];
            cn2 += fine.coil_noise[to] * fine.coil_noise[to];
        }
        const double n = static_cast<double>(to - from);
        merged.frequency_hz.push_back(f / weight);
        merged.ratio.push_back(sum / weight);
        merged.variance.push_back(1 / weight);
        merged.generator_amplitude.push_back(std::sqrt(g2 / n));
        merged.coil_amplitude.push_back(std::sqrt(c2 / n));
        merged.generator_noise.push_back(std::sqrt(gn2) / n);
        merged.coil_noise.push_back(std::sqrt(cn2) / n);
        from = to;
    }
    return merged;
}

bool inside(const std::optional<Band>& band, double frequency_hz) {
    return !band || (frequency_hz >= band->low_hz && frequency_hz <= band->high_hz);
}

Error nothing_above_noise() {
    return bad_input(
        "No frequency of the generator channel stands above its noise inside the band asked for; raise the "
        "level or check the wiring of input 1.");
}

Result<Response> whole_record(const TwoChannelCapture& capture, const BroadbandOptions& options,
                              const SignalExtent& signal) {
    // A tail of silence is kept for what still rings below the noise; all of a long silence would only add noise.
    const std::size_t first = signal.first > 256 ? signal.first - 256 : 0;
    const std::size_t needed = signal.last - first;
    const std::size_t wanted = needed + std::max<std::size_t>(2048, needed / 8);
    std::size_t length = choose_period(wanted);
    if (first + length > capture.frames()) length = smooth_length_below(capture.frames() - first);
    if (length < needed) length = capture.frames() - first;

    RealFft generator(length), coil(length);
    std::copy_n(capture.generator.begin() + static_cast<std::ptrdiff_t>(first), length, generator.time().begin());
    std::copy_n(capture.coil.begin() + static_cast<std::ptrdiff_t>(first), length, coil.time().begin());
    generator.forward();
    coil.forward();
    const auto g = generator.spectrum(), c = coil.spectrum();
    std::vector<double> power(g.size(), 0.0);
    for (std::size_t k = 1; 2 * k < length; ++k) power[k] = std::norm(g[k]);
    const auto bins = excited_lines(power);

    const double bin_hz = capture.sample_rate_hz / static_cast<double>(length);
    const double scale = static_cast<double>(length) * capture.sample_rate_hz / 2.0;  // density to E|X|^2
    const auto silence = silence_noise(capture, signal);
    std::vector<Complex> ratio(bins.size());
    std::vector<double> variance(bins.size()), noise_g(bins.size()), noise_c(bins.size());
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const std::size_t k = bins[i];
        ratio[i] = c[k] / g[k];
        // Without enough silence: equal unit noise in both channels, scaled by the roughness.
        SilenceNoise::Density density{1, 1, {}};
        if (silence) density = silence->at(static_cast<double>(k) * bin_hz);
        noise_g[i] = density.generator * scale;
        noise_c[i] = density.coil * scale;
        variance[i] = density.rest(ratio[i]) * scale / power[k];
    }
    const double rounding = std::ldexp(1.0, -52) * std::ldexp(1.0, -52);
    for (std::size_t i = 0; i < bins.size(); ++i) variance[i] += rounding * (1 + std::norm(ratio[i]));
    const auto factor = roughness(bins, ratio, variance, silence.has_value());

    Response response;
    response.way = ResponseWay::whole_record;
    response.sample_rate_hz = capture.sample_rate_hz;
    response.averages = 1;
    response.first_frame = first;
    response.frames_used = length;
    const double to_amplitude = 2.0 / static_cast<double>(length);
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const double frequency = static_cast<double>(bins[i]) * bin_hz;
        // A single record has no average to hide in: 12 dB above the noise keeps the ratio's error well-behaved.
        if (!inside(options.band, frequency) || power[bins[i]] < 16.0 * factor[i] * noise_g[i]) continue;
        response.frequency_hz.push_back(frequency);
        response.ratio.push_back(ratio[i]);
        response.variance.push_back(variance[i] * factor[i]);
        response.generator_amplitude.push_back(to_amplitude * std::sqrt(power[bins[i]]));
        response.coil_amplitude.push_back(to_amplitude * std::abs(c[bins[i]]));
        response.generator_noise.push_back(to_amplitude * std::sqrt(noise_g[i] * factor[i]));
        response.coil_noise.push_back(to_amplitude * std::sqrt(noise_c[i] * factor[i]));
    }
    if (response.frequency_hz.empty()) return nothing_above_noise();
    return response.ratio.size() > plenty ? merge(response) : response;
}

Result<Response> cross_spectra(const TwoChannelCapture& capture, const BroadbandOptions& options,
                               const SignalExtent& signal) {
    const std::size_t frames = signal.last - signal.first;
    // K half-overlapped segments of n frames take (K + 1) n / 2 frames; 8 is the least that gives a coherence worth
    // reading.
    const std::size_t segment = options.segment_frames ? *options.segment_frames
                                                       : smooth_length_below(std::min(2 * frames / 9, longest_segment));
    if (segment < 16 || 2 * segment > frames || (!options.segment_frames && segment < least_segment))
        return bad_input(
            fmt::format("The signal lasts {} frames, too few for averaged spectra with segments of {}; record at "
                        "least {} frames or use shorter segments.",
                        frames, options.segment_frames ? *options.segment_frames : least_segment,
                        options.segment_frames ? 2 * segment : least_segment * 9 / 2));
    const std::span<const double> g(capture.generator), c(capture.coil);
    const std::size_t parts = options.keep_periods ? parts_kept : 0;
    const auto spectra = averaged_spectra(g.subspan(signal.first, frames), c.subspan(signal.first, frames),
                                          capture.sample_rate_hz, segment, segment / 2, parts);
    std::vector<double> power(spectra.first);
    power.front() = 0;
    if (segment % 2 == 0) power.back() = 0;
    const auto bins = excited_lines(power);

    // H1 = S21 / S11 has, for the generator as it was played, E|error|^2 = S_nn / (n S11) with S_nn the density of what
    // the coil channel holds beside the response and n the number of independent averages. S_nn is estimated by
    // S22 - |S21|^2/S11, short by the factor 1 - 1/n because H1 has been fitted to the same data; together
    // (1 - coherence)/coherence |H1|^2 / (n - 1). (J. S. Bendat & A. G. Piersol, Random Data, table 9.6 gives half of
    // this for the magnitude alone, with n in place of n - 1; from memory.)
    const double n = independent_averages(spectra.segments);
    std::vector<double> rest(bins.size());
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const std::size_t k = bins[i];
        rest[i] = std::max(0.0, spectra.second[k] - std::norm(spectra.cross[k]) / spectra.first[k]);
    }
    const auto pooled = pooled_power(rest, spectra.segments - 1);

    Response response;
    response.way = ResponseWay::cross_spectra;
    response.of_periods.resize(spectra.parts.size());
    response.of_periods_power.resize(spectra.parts.size());
    response.sample_rate_hz = capture.sample_rate_hz;
    response.averages = spectra.segments;
    response.first_frame = signal.first;
    response.frames_used = (spectra.segments - 1) * (segment - segment / 2) + segment;
    const double rounding = std::ldexp(1.0, -52) * std::ldexp(1.0, -52);
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const std::size_t k = bins[i];
        const double frequency = static_cast<double>(k) * spectra.bin_hz;
        if (!inside(options.band, frequency)) continue;
        const Complex h1 = spectra.h1(k);
        const double coherence = std::min(1.0, spectra.coherence(k));
        response.frequency_hz.push_back(frequency);
        response.ratio.push_back(h1);
        response.variance.push_back(pooled[i] / spectra.first[k] / (n - 1) + rounding * (1 + std::norm(h1)));
        response.coherence.push_back(coherence);
        // Amplitude of the sine that would hold one bin's power.
        const double to_power = 2.0 * spectra.bin_hz;
        response.generator_amplitude.push_back(std::sqrt(to_power * spectra.first[k]));
        response.coil_amplitude.push_back(std::sqrt(to_power * spectra.second[k]));
        // What is not coherent, put to either channel in turn.
        response.generator_noise.push_back(std::sqrt(to_power * spectra.first[k] * (1 - coherence) / n));
        response.coil_noise.push_back(std::sqrt(to_power * pooled[i] / (n - 1)));
        for (std::size_t p = 0; p < spectra.parts.size(); ++p) {
            const auto& part = spectra.parts[p];
            response.of_periods[p].push_back(part.first[k] > 0 ? part.cross[k] / part.first[k] : h1);
            response.of_periods_power[p].push_back(part.first[k] / spectra.first[k]);
        }
    }
    if (response.frequency_hz.empty()) return nothing_above_noise();
    return response;
}

}  // namespace

Result<Response> broadband_response(const TwoChannelCapture& capture, const BroadbandOptions& options) {
    if (!(capture.sample_rate_hz > 0) || !std::isfinite(capture.sample_rate_hz))
        return bad_input("The capture has no sample rate; give the rate it was recorded with.");
    if (capture.coil.size() != capture.generator.size())
        return bad_input(fmt::format("The channels differ in length ({} and {} frames); record both at once.",
                                     capture.generator.size(), capture.coil.size()));
    if (options.band && !(options.band->low_hz <= options.band->high_hz))
        return bad_input(fmt::format("The band {} to {} Hz is no band; give the lower frequency first.",
                                     options.band->low_hz, options.band->high_hz));
    if (auto status = check_finite(capture); !status) return status.error();
    auto signal = find_signal_extent(capture.generator);
    if (!signal)
        return bad_input(
            "The generator channel holds no signal (nothing above -120 dBFS); check that the stimulus plays "
            "and that input 1 is on the generator side.");
    SignalExtent both = *signal;
    if (const auto coil = find_signal_extent(capture.coil)) {
        // The coil answers after its generator; what it holds long before is noise of its own.
        both.last = std::max(both.last, coil->last);
    }
    const bool one_shot = both.first >= least_silence && both.last + least_silence <= capture.frames();
    if (one_shot && !options.segment_frames && !options.averaged) return whole_record(capture, options, both);
    return cross_spectra(capture, options, *signal);
}

}  // namespace coldtune::dsp
