// The program's side of live audio: starts a child for every stream, watches its counters, judges what it recorded.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/audio/child_process.hpp"
#include "analyzer/audio/lost_signal.hpp"
#include "analyzer/audio/shared_stream.hpp"

namespace coldtune::audio {
namespace {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;

// Looking for devices can take seconds where there are many; nothing can be said about progress meanwhile.
constexpr milliseconds opening_limit(6000);
constexpr milliseconds starting_limit(3000);  // first buffer of a stream
constexpr milliseconds stall_limit(1000);     // between buffers: the contract's second
constexpr milliseconds stopping_limit(1000);  // to ramp down
constexpr milliseconds ending_limit(2500);    // to give the device back; longer than the child's own alarm
constexpr milliseconds poll_interval(4);
constexpr milliseconds progress_interval(50);

bool is_final(ChildState state) {
    return state == ChildState::done || state == ChildState::stopped || state == ChildState::failed;
}

std::string_view text_of(std::span<const char> field) {
    return {field.data(), static_cast<std::size_t>(std::ranges::find(field, '\0') - field.begin())};
}

// Follows one child from start to end.
class Watch {
public:
    Watch(SharedStream& stream, ChildProcess& child, std::string device)
        : block_(stream.block()), child_(child), device_(std::move(device)) {}

    // Waits a moment. Empty while all is well and nothing final has happened; an error if the child failed, died or
    // does not get on.
    std::optional<Error> step() {
        const bool ended = child_.ended_within(poll_interval);
        const ChildState state = block_.state.load(std::memory_order_acquire);
        if (state == ChildState::failed) return device_error(std::string(text_of(block_.message)));
        if (is_final(state)) return std::nullopt;
        if (ended) {
            return device_error(
                fmt::format("the audio process {} before '{}' was finished: try again, and restart the "
                            "audio server if it happens again",
                            child_.epitaph(), device_));
        }
        return check_progress(state);
    }

    [[nodiscard]] ChildState state() const { return block_.state.load(std::memory_order_acquire); }

private:
    std::optional<Error> check_progress(ChildState state) {
        const auto now = Clock::now();
        const std::uint64_t callbacks = block_.callbacks.load(std::memory_order_relaxed);
        if (state != last_state_ || callbacks != last_callbacks_) {
            last_state_ = state;
            last_callbacks_ = callbacks;
            last_progress_ = now;
            return std::nullopt;
        }
        const auto waited = now - last_progress_;
        if (state == ChildState::spawned || state == ChildState::opening) {
            if (waited < opening_limit) return std::nullopt;
            return device_error(
                fmt::format("the audio system did not answer within {} s: restart the audio server or "
                            "reconnect the interface",
                            opening_limit.count() / 1000));
        }
        if (waited < (callbacks == 0 ? starting_limit : stall_limit)) return std::nullopt;
        return device_error(fmt::format(
            "'{}' stopped delivering audio at {:.1f} s: it hangs or its audio server does; "
            "reconnect the interface or restart the server and repeat",
            device_, static_cast<double>(block_.frames.load(std::memory_order_relaxed)) / block_.sample_rate_hz));
    }

    StreamBlock& block_;
    ChildProcess& child_;
    std::string device_;
    ChildState last_state_ = ChildState::spawned;
    std::uint64_t last_callbacks_ = 0;
    Clock::time_point last_progress_ = Clock::now();
};

// One device a line, as audio_child.hpp states.
std::vector<DeviceInfo> parse_listing(std::string_view text) {
    std::vector<DeviceInfo> devices;
    const auto cut = [](std::string_view& rest, char separator) {
        const std::size_t end = std::min(rest.find(separator), rest.size());
        std::string field(rest.substr(0, end));
        rest.remove_prefix(std::min(end + 1, rest.size()));
        return field;
    };
    // Written by this program in its own locale, which is C until somebody asks for another.
    const auto number = [](const std::string& field) {
        double value = 0;
        std::from_chars(field.data(), field.data() + field.size(), value);
        return value;
    };
    while (!text.empty()) {
        const std::string line = cut(text, '\n');
        std::string_view rest = line;
        DeviceInfo device;
        device.name = cut(rest, '\t');
        device.host = cut(rest, '\t');
        device.input_channels = static_cast<int>(number(cut(rest, '\t')));
        device.output_channels = static_cast<int>(number(cut(rest, '\t')));
        device.default_rate_hz = number(cut(rest, '\t'));
        while (!rest.empty()) device.rates_hz.push_back(number(cut(rest, ',')));
        devices.push_back(std::move(device));
    }
    return devices;
}

std::optional<Error> check(const SweepRequest& request) {
    if (!(request.sample_rate_hz >= 1000 && request.sample_rate_hz <= 1e6)) {
        return usage_error(fmt::format("a sample rate of {} Hz cannot be used: choose one between 1 kHz and 1 MHz",
                                       request.sample_rate_hz));
    }
    if (request.stimulus.empty()) return usage_error("there is no stimulus to play");
    if (!(request.ramp_s >= 0 && request.ramp_s <= 10)) {
        return usage_error(fmt::format("a level ramp of {} s cannot be used: choose 0 to 10 s", request.ramp_s));
    }
    for (const double x : request.stimulus) {
        if (!(std::abs(x) <= 1)) return usage_error("the stimulus exceeds full scale: lower its level");
    }
    constexpr std::size_t most_channels = 1024;
    if (std::max({request.output_channel, request.generator_input, request.coil_input}) >= most_channels) {
        return usage_error(fmt::format("channel numbers go up to {}", most_channels));
    }
    if (request.device.size() >= StreamBlock::text_bytes) return usage_error("the device's name is too long");
    if (request.tail_frames > SharedStream::longest_frames) {
        return usage_error(fmt::format("a tail of {} frames is too long", request.tail_frames));
    }
    return std::nullopt;
}

float peak_of(std::span<const float> samples) {
    float peak = 0;
    for (const float x : samples) peak = std::max(peak, std::abs(x));
    return peak;
}

StreamCounters read_counters(const StreamBlock& block) {
    StreamCounters counters;
    counters.frames = block.frames.load(std::memory_order_acquire);
    counters.callbacks = block.callbacks.load(std::memory_order_relaxed);
    counters.input_overflows = block.input_overflows.load(std::memory_order_relaxed);
    counters.input_underflows = block.input_underflows.load(std::memory_order_relaxed);
    counters.output_underflows = block.output_underflows.load(std::memory_order_relaxed);
    counters.output_overflows = block.output_overflows.load(std::memory_order_relaxed);
    return counters;
}

std::optional<Error> judge_counters(const StreamCounters& counters, const SweepRequest& request) {
    const std::size_t interruptions =
        counters.input_overflows + counters.input_underflows + counters.output_underflows + counters.output_overflows;
    if (interruptions == 0) return std::nullopt;
    return device_error(
        fmt::format("'{}' lost audio at about {:.1f} s because buffers came late: close other programs or "
                    "give the interface larger buffers, and repeat",
                    request.device, static_cast<double>(counters.frames) / request.sample_rate_hz));
}

class PortAudioPort final : public AudioPort {
public:
    Result<std::vector<DeviceInfo>> devices() override {
        auto stream = SharedStream::create(0, 0);
        if (!stream) return stream.error();
        auto child = ChildProcess::start("devices", stream->descriptor());
        if (!child) return child.error();
        Watch watch(*stream, *child, "the list of devices");
        while (!is_final(watch.state())) {
            if (auto error = watch.step()) return *error;
        }
        child->ended_within(ending_limit);
        return parse_listing(text_of(stream->block().listing));
    }

    Result<Recording> play_and_record(const SweepRequest& request, std::stop_token stop,
                                      const ProgressCallback& progress) override {
        if (auto error = check(request)) return *error;
        if (stop.stop_requested()) return rejected("stopped");
        const std::size_t stimulus_frames = request.stimulus.size();
        auto stream = SharedStream::create(stimulus_frames, stimulus_frames + request.tail_frames);
        if (!stream) return stream.error();
        StreamBlock& block = stream->block();
        block.sample_rate_hz = request.sample_rate_hz;
        block.ramp_frames = std::max<std::uint64_t>(
            1, static_cast<std::uint64_t>(std::llround(request.ramp_s * request.sample_rate_hz)));
        block.output_channel = static_cast<std::uint32_t>(request.output_channel);
        block.generator_input = static_cast<std::uint32_t>(request.generator_input);
        block.coil_input = static_cast<std::uint32_t>(request.coil_input);
        put_text(block.device, request.device);
        std::ranges::transform(request.stimulus, stream->stimulus().begin(),
                               [](double x) { return static_cast<float>(x); });

        auto child = ChildProcess::start("stream", stream->descriptor());
        if (!child) return child.error();
        if (auto error = follow(*stream, *child, request, stop, progress)) {
            ramp_down(block, *child);
            return *error;
        }
        child->ended_within(ending_limit);
        return take_recording(*stream, request);
    }

private:
    // Until everything is recorded; an error when that will not happen.
    static std::optional<Error> follow(SharedStream& stream, ChildProcess& child, const SweepRequest& request,
                                       const std::stop_token& stop, const ProgressCallback& progress) {
        StreamBlock& block = stream.block();
        Watch watch(stream, child, request.device);
        SilenceWatch silence(stream.stimulus(), request.sample_rate_hz);
        auto last_report = Clock::now();
        std::size_t reported = 0;
        while (true) {
            if (auto error = watch.step()) return error;
            const ChildState state = watch.state();
            if (stop.stop_requested() || state == ChildState::stopped) return rejected("stopped");
            const StreamCounters counters = read_counters(block);
            if (auto error = judge_counters(counters, request)) return error;
            const bool finished = state == ChildState::done;
            if (auto lost = silence.look(stream.generator().first(counters.frames), finished)) {
                return device_error(describe(*lost, request.device, request.generator_input));
            }
            if (progress && counters.frames > reported &&
                (finished || Clock::now() - last_report > progress_interval)) {
                const std::size_t fresh = counters.frames - reported;
                progress({static_cast<double>(counters.frames) / static_cast<double>(block.total_frames),
                          static_cast<double>(peak_of(stream.generator().subspan(reported, fresh))),
                          static_cast<double>(peak_of(stream.coil().subspan(reported, fresh)))});
                reported = counters.frames;
                last_report = Clock::now();
            }
            if (finished) break;
        }
        if (auto lost = find_faded_signal(stream.stimulus(), stream.generator(), request.sample_rate_hz)) {
            return device_error(describe(*lost, request.device, request.generator_input));
        }
        return std::nullopt;
    }

    // Asks a child that may still be playing for silence, and waits for it while it gets on. The child is ended by its
    // owner afterwards in any case.
    static void ramp_down(StreamBlock& block, ChildProcess& child) {
        block.stop.store(1, std::memory_order_relaxed);
        const auto end = Clock::now() + stopping_limit;
        auto last_progress = Clock::now();
        std::uint64_t callbacks = block.callbacks.load(std::memory_order_relaxed);
        constexpr milliseconds patience(200);  // longer than any usual buffer
        while (Clock::now() < end && Clock::now() - last_progress < patience) {
            if (child.ended_within(poll_interval)) return;
            const ChildState state = block.state.load(std::memory_order_acquire);
            if (is_final(state)) {
                child.ended_within(ending_limit);
                return;
            }
            const std::uint64_t now = block.callbacks.load(std::memory_order_relaxed);
            // One that is still opening notices the stop in its first buffer, and then leaves in order.
            if (now != callbacks || state != ChildState::running) last_progress = Clock::now();
            callbacks = now;
        }
    }

    static Recording take_recording(const SharedStream& stream, const SweepRequest& request) {
        Recording recording;
        recording.capture.sample_rate_hz = stream.block().actual_rate_hz;
        recording.capture.generator.assign(stream.generator().begin(), stream.generator().end());
        recording.capture.coil.assign(stream.coil().begin(), stream.coil().end());
        recording.counters = read_counters(stream.block());
        recording.device = request.device;
        return recording;
    }
};

}  // namespace

std::unique_ptr<AudioPort> make_portaudio_port() {
    return std::make_unique<PortAudioPort>();
}

}  // namespace coldtune::audio
