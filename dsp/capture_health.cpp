#include "dsp/capture_health.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <future>

#include "dsp/capture_check.hpp"
#include "dsp/capture_health_parts.hpp"
#include "dsp/silence_noise.hpp"
#include "dsp/sums.hpp"

namespace coldtune::dsp {
namespace {

constexpr double silent_dbfs = -400;

double to_dbfs(double amplitude) {
    return amplitude > 0 ? std::max(silent_dbfs, 20.0 * std::log10(amplitude)) : silent_dbfs;
}

// AES17: the rms of a full-scale sine is 0 dBFS.
double rms_to_dbfs(double mean_square) {
    return to_dbfs(std::sqrt(2.0 * std::max(0.0, mean_square)));
}

struct Level {
    double mean = 0;
    double mean_square = 0;  // without the mean
};

Level level_of(std::span<const double> samples) {
    Level level;
    if (samples.empty()) return level;
    level.mean = sum_of(samples) / static_cast<double>(samples.size());
    const auto square = [mean = level.mean](double value) { return (value - mean) * (value - mean); };
    level.mean_square = sum_of(samples, square) / static_cast<double>(samples.size());
    return level;
}

// Mean square of the noise of one channel from what the response found between periods or segments.
std::optional<double> noise_from(const Response& response, const std::vector<double>& noise, double sample_rate_hz) {
    if (noise.size() < 2 || response.averages < 2) return std::nullopt;
    std::vector<double> sorted(noise);
    const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
    std::nth_element(sorted.begin(), middle, sorted.end());
    // A line's noise of amplitude a after P averages is a mean square of a^2 P / 2 in one bin; white over all bins.
    const double bin_hz = (response.frequency_hz.back() - response.frequency_hz.front()) /
                          static_cast<double>(response.frequency_hz.size() - 1);
    return *middle * *middle * static_cast<double>(response.averages) / 2.0 * (sample_rate_hz / 2.0 / bin_hz);
}

ChannelHealth channel_health(std::span<const double> channel, const SignalExtent& extent) {
    ChannelHealth health;
    std::array<double, 8> peak{};  // eight at once, so that vector instructions may be used
    const std::size_t whole = channel.size() / peak.size() * peak.size();
    for (std::size_t i = 0; i < whole; i += peak.size())
        for (std::size_t j = 0; j < peak.size(); ++j) peak[j] = std::max(peak[j], std::abs(channel[i + j]));
    for (std::size_t i = whole; i < channel.size(); ++i) peak[0] = std::max(peak[0], std::abs(channel[i]));
    health.peak_dbfs = to_dbfs(*std::max_element(peak.begin(), peak.end()));
    const Level level = level_of(channel.subspan(extent.first, extent.last - extent.first));
    health.dc_offset = level.mean;
    health.rms_dbfs = rms_to_dbfs(level.mean_square);
    health.noise_dbfs = silent_dbfs;
    health.clipped_frames = clipped_frames(channel);
    return health;
}

// Sorted, and those that touch or overlap put together.
void tidy(std::vector<CaptureHealth::Dropout>& dropouts, std::size_t near) {
    std::sort(dropouts.begin(), dropouts.end(),
              [](const auto& a, const auto& b) { return a.first_frame < b.first_frame; });
    std::vector<CaptureHealth::Dropout> tidied;
    for (const auto& next : dropouts) {
        if (!tidied.empty() && next.first_frame <= tidied.back().first_frame + tidied.back().frames + near) {
            auto& last = tidied.back();
            const std::size_t end = std::max(last.first_frame + last.frames, next.first_frame + next.frames);
            // A place found exactly is better than one found by blocks.
            if (last.frames > 0 && next.frames > 0) last.frames = end - last.first_frame;
            if (last.frames == 0) last = next;
            continue;
        }
        tidied.push_back(next);
    }
    dropouts = std::move(tidied);
}

// Places in either channel where samples were lost, repeated or put in.
std::vector<CaptureHealth::Dropout> dropouts_of(const TwoChannelCapture& capture, const SignalExtent& signal,
                                                std::size_t period_frames, double drift_ppm) {
    auto dropouts = stuck_or_repeated(capture.generator, signal);
    const auto in_coil = stuck_or_repeated(capture.coil, signal);
    dropouts.insert(dropouts.end(), in_coil.begin(), in_coil.end());
    if (period_frames > 0 && signal.last - signal.first >= 2 * period_frames) {
        const SignalExtent steady = trim_unsteady_end(capture.generator, signal, period_frames);
        const auto breaks = breaks_of_period(capture.generator, steady, period_frames, drift_ppm);
        dropouts.insert(dropouts.end(), breaks.begin(), breaks.end());
    }
    tidy(dropouts, period_frames > 0 ? std::max<std::size_t>(64, period_frames / 32) : 64);
    return dropouts;
}

}  // namespace

CaptureHealth examine(const TwoChannelCapture& capture, std::size_t period_frames, const Response* response) {
    CaptureHealth health;
    const std::size_t frames = capture.frames();
    SignalExtent signal{0, frames};
    const auto nothing = [&] {
        for (auto* channel : {&health.generator, &health.coil})
            channel->peak_dbfs = channel->rms_dbfs = channel->noise_dbfs = silent_dbfs;
        return health;
    };
    if (frames == 0 || capture.coil.size() != frames || !check_finite(capture)) return nothing();
    const auto generator_extent = find_signal_extent(capture.generator);
    if (generator_extent) signal = *generator_extent;

    std::optional<Response> own;
    if (response == nullptr && period_frames > 0) {
        PeriodicOptions options;
        options.period_frames = period_frames;
        if (auto made = periodic_response(capture, options); made) {
            own = std::move(*made);
            response = &*own;
        }
    }
    if (response != nullptr) health.clock_drift_ppm = response->clock_drift_ppm;
    // Half of the work, and independent of the other half: on another core, where one can be had.
    std::future<std::vector<CaptureHealth::Dropout>> dropouts;
    if (generator_extent)
        dropouts = std::async(std::launch::async | std::launch::deferred, dropouts_of, std::cref(capture), signal,
                              period_frames, health.clock_drift_ppm.value_or(0.0));

    health.generator = channel_health(capture.generator, signal);
    health.coil = channel_health(capture.coil, signal);
    SignalExtent both = signal;
    if (const auto coil_extent = find_signal_extent(capture.coil)) both.last = std::max(both.last, coil_extent->last);
    const auto silence = generator_extent ? silence_noise(capture, both) : std::nullopt;
    if (silence) {
        const auto total = silence->mean_squares();
        health.generator.noise_dbfs = rms_to_dbfs(total.generator);
        health.coil.noise_dbfs = rms_to_dbfs(total.coil);
    } else if (response != nullptr) {
        if (const auto noise = noise_from(*response, response->generator_noise, capture.sample_rate_hz))
            health.generator.noise_dbfs = rms_to_dbfs(*noise);
        if (const auto noise = noise_from(*response, response->coil_noise, capture.sample_rate_hz))
            health.coil.noise_dbfs = rms_to_dbfs(*noise);
    }
    health.hum = mains_hum(
        capture.coil, capture.sample_rate_hz,
        std::sqrt(level_of(std::span<const double>(capture.coil).subspan(signal.first, signal.last - signal.first))
                      .mean_square));
    if (response != nullptr && period_frames > 0)
        health.displaced_mains =
            displaced_mains(std::span<const double>(capture.coil).subspan(signal.first, signal.last - signal.first),
                            capture.sample_rate_hz, response->frequency_hz.front(),
                            capture.sample_rate_hz / static_cast<double>(period_frames));

    if (period_frames > 0 && response != nullptr) {
        const PeriodFacts facts = period_facts(capture, period_frames, *response);
        health.generator_distortion_db = facts.generator_distortion_db;
        health.coil_distortion_db = facts.coil_distortion_db;
        health.unsteadiness_sigma = facts.unsteadiness_sigma;
        if (const auto changes = level_changes(capture.generator, period_frames, *response)) {
            health.settling_level_change = changes->settling;
            health.level_change = changes->steady;
        }
    }
    if (dropouts.valid()) health.dropouts = dropouts.get();
    return health;
}

}  // namespace coldtune::dsp
