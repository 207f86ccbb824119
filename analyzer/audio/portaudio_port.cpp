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
#include "analyzer/audio/child_watch.hpp"
#include "analyzer/audio/held_stream.hpp"
#include "analyzer/audio/lost_signal.hpp"
#include "analyzer/audio/shared_stream.hpp"

namespace coldtune::audio {
namespace {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;

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

std::optional<Error> check(const SweepRequest& request, const StreamAddress& address) {
    if (auto error = check_address(address)) return error;
    if (auto error = check_stimulus(request.stimulus)) return error;
    if (request.tail_frames > SharedStream::longest_frames) {
        return usage_error(fmt::format("a tail of {} frames is too long", request.tail_frames));
    }
    return std::nullopt;
}

class PortAudioPort final : public AudioPort {
public:
    Result<std::vector<DeviceInfo>> devices() override {
        auto stream = SharedStream::create(0, 0);
        if (!stream) return stream.error();
        auto child = ChildProcess::start("devices", stream->descriptor());
        if (!child) return child.error();
        ChildWatch watch(stream->block(), *child, "the list of devices");
        while (!is_final(watch.state())) {
            if (auto error = watch.step()) return *error;
        }
        child->ended_within(ending_limit);
        return parse_listing(text_of(stream->block().listing));
    }

    Result<Recording> play_and_record(const SweepRequest& request, std::stop_token stop,
                                      const ProgressCallback& progress) override {
        const StreamAddress address{request.device,          request.sample_rate_hz, request.output_channel,
                                    request.generator_input, request.coil_input,     request.ramp_s};
        if (auto error = check(request, address)) return *error;
        if (stop.stop_requested()) return rejected("stopped");
        const std::size_t stimulus_frames = request.stimulus.size();
        auto stream = SharedStream::create(stimulus_frames, stimulus_frames + request.tail_frames);
        if (!stream) return stream.error();
        StreamBlock& block = stream->block();
        put_address(block, address);
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

    Result<std::unique_ptr<HeldStream>> hold(const HoldRequest& request) override { return hold_stream(request); }

private:
    // Until everything is recorded; an error when that will not happen.
    static std::optional<Error> follow(SharedStream& stream, ChildProcess& child, const SweepRequest& request,
                                       const std::stop_token& stop, const ProgressCallback& progress) {
        StreamBlock& block = stream.block();
        ChildWatch watch(block, child, request.device);
        SilenceWatch silence(stream.stimulus(), request.sample_rate_hz);
        auto last_report = Clock::now();
        std::size_t reported = 0;
        while (true) {
            if (auto error = watch.step()) return error;
            const ChildState state = watch.state();
            if (stop.stop_requested() || state == ChildState::stopped) return rejected("stopped");
            const StreamCounters counters = read_counters(block);
            if (auto error = judge_counters(counters, request.device, request.sample_rate_hz)) return error;
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
