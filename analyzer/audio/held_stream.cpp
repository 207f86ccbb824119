#include "analyzer/audio/held_stream.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <utility>

#include "analyzer/audio/child_process.hpp"
#include "analyzer/audio/child_watch.hpp"
#include "analyzer/audio/lost_signal.hpp"
#include "analyzer/audio/shared_stream.hpp"

namespace coldtune::audio {
namespace {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;

class PortAudioHeldStream final : public HeldStream {
public:
    PortAudioHeldStream(HoldRequest request, SharedStream shared, ChildProcess child)
        : request_(std::move(request)),
          shared_(std::move(shared)),
          child_(std::move(child)),
          watch_(shared_.block(), child_, request_.device) {}
    PortAudioHeldStream(const PortAudioHeldStream&) = delete;
    PortAudioHeldStream& operator=(const PortAudioHeldStream&) = delete;
    ~PortAudioHeldStream() override {
        ramp_down(shared_.block(), child_);
        child_.ended_within(ending_limit);
    }

    // Until the device delivers.
    std::optional<Error> wait_until_running() {
        while (watch_.state() != ChildState::running || block().callbacks.load(std::memory_order_relaxed) == 0) {
            if (auto error = look()) return error;
        }
        return std::nullopt;
    }

    [[nodiscard]] double sample_rate_hz() const override { return shared_.block().actual_rate_hz; }

    Result<Recording> play_and_record(std::span<const double> stimulus, std::size_t tail_frames, std::stop_token stop,
                                      const ProgressCallback& progress) override {
        if (auto error = check_stimulus(stimulus)) return *error;
        if (stop.stop_requested()) return rejected("stopped");
        if (auto error = begin(stimulus, stimulus.size() + tail_frames, false)) return *error;
        const std::size_t total = stimulus.size() + tail_frames;
        // With one input there is no generator side to listen to.
        std::optional<SilenceWatch> silence;
        if (two_inputs()) silence.emplace(shared_.stimulus().first(stimulus.size()), request_.sample_rate_hz);
        auto last_report = Clock::now();
        std::size_t reported = 0;
        while (true) {
            if (auto error = look()) return *error;
            if (stop.stop_requested()) {
                if (auto error = end()) return *error;
                return rejected("stopped");
            }
            const std::size_t frames = block().frames.load(std::memory_order_acquire);
            const bool finished = frames >= total;
            if (silence) {
                if (auto lost = silence->look(shared_.generator().first(frames), finished)) {
                    return device_error(describe(*lost, request_.device, request_.generator_input));
                }
            }
            if (progress && frames > reported && (finished || Clock::now() - last_report > progress_interval)) {
                const std::size_t fresh = frames - reported;
                progress({static_cast<double>(frames) / static_cast<double>(total),
                          static_cast<double>(peak_of(shared_.generator().subspan(reported, fresh))),
                          static_cast<double>(peak_of(shared_.coil().subspan(reported, fresh)))});
                reported = frames;
                last_report = Clock::now();
            }
            if (finished) break;
        }
        if (two_inputs()) {
            if (auto lost = find_faded_signal(shared_.stimulus().first(stimulus.size()),
                                              shared_.generator().first(total), request_.sample_rate_hz)) {
                return device_error(describe(*lost, request_.device, request_.generator_input));
            }
        }
        Recording recording;
        recording.capture = copy(0, total);
        recording.counters = read_counters(block());
        recording.device = request_.device;
        return recording;
    }

    Status loop(std::span<const double> period, std::size_t kept_frames) override {
        if (auto error = check_stimulus(period)) return *error;
        if (kept_frames == 0 || kept_frames % period.size() != 0) {
            return usage_error("a loop keeps a whole number of its periods");
        }
        if (auto error = begin(period, kept_frames, true)) return *error;
        kept_ = kept_frames;
        return Done{};
    }

    Result<std::uint64_t> recorded_frames() override {
        if (auto error = look()) return *error;
        return block().frames.load(std::memory_order_acquire);
    }

    Result<dsp::TwoChannelCapture> read(std::uint64_t first, std::size_t count) override {
        if (first + count > block().frames.load(std::memory_order_acquire)) {
            return bad_input("these frames of the loop are not recorded yet; wait for them");
        }
        dsp::TwoChannelCapture capture = copy(first, count);
        // What the callback wrote meanwhile, and may be writing now, is counted against what was copied.
        const std::uint64_t margin = static_cast<std::uint64_t>(0.1 * request_.sample_rate_hz);
        if (first + kept_ <
            block().frames.load(std::memory_order_acquire) + std::min<std::uint64_t>(margin, kept_ / 4)) {
            return bad_input("these frames of the loop are not kept any more; read sooner or keep more");
        }
        return capture;
    }

    [[nodiscard]] std::size_t late_buffers() const override { return audio::late_buffers(read_counters(block())); }

    Status silence() override {
        if (auto error = end()) return *error;
        return Done{};
    }

private:
    [[nodiscard]] StreamBlock& block() const { return shared_.block(); }
    [[nodiscard]] bool two_inputs() const { return request_.generator_input != request_.coil_input; }

    std::optional<Error> look() {
        if (auto error = watch_.step()) return error;
        if (is_final(watch_.state())) return device_error("the audio stream was closed; open it again");
        const StreamCounters counters = read_counters(block());
        if (looped_ && request_.outlives_late_buffers) return std::nullopt;
        return judge_counters(counters, request_.device, request_.sample_rate_hz, allowed_late_);
    }

    // Hands the child a new job and waits until the callback has taken it. The job before must not be playing, so it is
    // ended first: the callback may otherwise read what is being written.
    std::optional<Error> begin(std::span<const double> stimulus, std::size_t total, bool looped) {
        if (stimulus.size() > request_.most_stimulus_frames || total > request_.most_recorded_frames) {
            return usage_error("this sweep is longer than the open stream was made for; open it again for more");
        }
        if (auto error = end()) return error;
        if (request_.outlives_late_buffers) allowed_late_ = late_buffers();
        looped_ = looped;
        std::ranges::transform(stimulus, shared_.stimulus().begin(), [](double x) { return static_cast<float>(x); });
        return hand_over(stimulus.size(), total, looped);
    }

    std::optional<Error> end() { return hand_over(0, 0, false); }

    std::optional<Error> hand_over(std::size_t stimulus, std::size_t total, bool looped) {
        block().job_stimulus_frames = stimulus;
        block().job_total_frames = total;
        block().job_looped = looped ? 1 : 0;
        const std::uint64_t number = block().job.load(std::memory_order_relaxed) + 1;
        block().job.store(number, std::memory_order_release);
        while (block().job_taken.load(std::memory_order_acquire) != number) {
            if (auto error = look()) return error;
        }
        return std::nullopt;
    }

    [[nodiscard]] dsp::TwoChannelCapture copy(std::uint64_t first, std::size_t count) const {
        dsp::TwoChannelCapture capture;
        capture.sample_rate_hz = sample_rate_hz();
        capture.generator.reserve(count);
        capture.coil.reserve(count);
        const std::size_t total = block().job_total_frames;
        for (std::size_t i = 0; i < count; ++i) {
            const auto place = static_cast<std::size_t>((first + i) % total);
            capture.generator.push_back(static_cast<double>(shared_.generator()[place]));
            capture.coil.push_back(static_cast<double>(shared_.coil()[place]));
        }
        return capture;
    }

    HoldRequest request_;
    SharedStream shared_;
    ChildProcess child_;
    ChildWatch watch_;
    std::size_t kept_ = 0;
    std::size_t allowed_late_ = 0;
    bool looped_ = false;
};

}  // namespace

Result<std::unique_ptr<HeldStream>> hold_stream(const HoldRequest& request) {
    const StreamAddress address{request.device,          request.sample_rate_hz, request.output_channel,
                                request.generator_input, request.coil_input,     request.ramp_s};
    if (auto error = check_address(address)) return *error;
    auto shared = SharedStream::create(request.most_stimulus_frames,
                                       std::max(request.most_stimulus_frames, request.most_recorded_frames));
    if (!shared) return shared.error();
    put_address(shared->block(), address);
    shared->block().held = 1;
    auto child = ChildProcess::start("stream", shared->descriptor());
    if (!child) return child.error();
    auto held = std::make_unique<PortAudioHeldStream>(request, std::move(*shared), std::move(*child));
    if (auto error = held->wait_until_running()) return *error;
    return std::unique_ptr<HeldStream>(std::move(held));
}

}  // namespace coldtune::audio
