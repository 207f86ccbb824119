// The live port through PortAudio against a private JACK server, and against all the ways in which audio breaks.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <random>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "tests/support/jack_server.hpp"
#include "tests/support/live_rig.hpp"
#include "tests/support/tape.hpp"

namespace coldtune::audio {
namespace {

using testing::exact_delay;
using testing::expect_fault;
using ::testing::HasSubstr;
using testing::JackCoil;
using testing::JackServer;
using testing::noise_request;
using ::testing::Not;
using testing::ServerOptions;
using testing::since;
using Clock = std::chrono::steady_clock;

Result<Recording> play(const SweepRequest& request) {
    return make_portaudio_port()->play_and_record(request, {}, {});
}

void expect_exact(const Result<Recording>& recording, const SweepRequest& request) {
    ASSERT_TRUE(recording.ok()) << recording.error().message;
    EXPECT_EQ(recording->capture.sample_rate_hz, request.sample_rate_hz);
    EXPECT_EQ(recording->capture.frames(), request.stimulus.size() + request.tail_frames);
    EXPECT_EQ(recording->counters.frames, request.stimulus.size() + request.tail_frames);
    EXPECT_EQ(recording->device, request.device);
    EXPECT_TRUE(exact_delay(request, recording->capture.generator)) << "generator side differs";
    EXPECT_TRUE(exact_delay(request, recording->capture.coil)) << "coil side differs";
}

// One that was noticed in time: the contract's second without progress, and as much again for ramping down or ending
// the child (0.2 s) on a busy machine.
void expect_swift_fault(const SweepRequest& request, const JackCoil& coil, const std::string& words) {
    const auto recording = play(request);
    const double seconds = coil.tape().since_fault_s();
    expect_fault(recording, words);
    EXPECT_GE(seconds, 0) << "nothing was broken";
    EXPECT_LT(seconds, 2);
}

// Audio children of this process, dead or alive.
int audio_children() {
    std::ifstream pids(fmt::format("/proc/self/task/{}/children", getpid()));
    int count = 0;
    for (std::string pid; pids >> pid;) {
        std::ifstream file("/proc/" + pid + "/cmdline");
        std::string name;
        std::getline(file, name, '\0');
        // A child that ended and was not waited for has no command line left.
        if (name.empty() || name == "coldtune-audio") ++count;
    }
    return count;
}

TEST(PortAudioPort, LoopIsBitExactAtBothRates) {
    for (const int rate : {96000, 192000}) {
        const JackServer server({.rate_hz = rate});
        const JackCoil coil({"--hookup", "bypass", "--freewheel"});
        const auto request = noise_request(coil, 2);
        double last = 0;
        double peak = 0;
        const auto recording = make_portaudio_port()->play_and_record(request, {}, [&](const Progress& progress) {
            EXPECT_GE(progress.fraction, last);
            last = progress.fraction;
            peak = std::max({peak, progress.peak_generator, progress.peak_coil});
        });
        expect_exact(recording, request);
        EXPECT_EQ(last, 1.0);
        EXPECT_NEAR(peak, 0.5, 1e-3);  // the largest of some 200,000 uniform samples misses 0.5 by 1e-5
    }
}

TEST(PortAudioPort, RealSpeedLoopReportsProgress) {
    const JackServer server(testing::patient);
    const JackCoil coil({"--hookup", "bypass"});
    const auto request = noise_request(coil, 1);
    std::vector<double> fractions;
    const auto recording = make_portaudio_port()->play_and_record(
        request, {}, [&](const Progress& progress) { fractions.push_back(progress.fraction); });
    expect_exact(recording, request);
    // 1.3 s in buffers of 21 ms, told every 50 ms.
    EXPECT_GE(fractions.size(), 8U);
    EXPECT_TRUE(std::is_sorted(fractions.begin(), fractions.end()));
}

TEST(PortAudioPort, ChoosesChannels) {
    const JackServer server({});
    const JackCoil coil({"--freewheel", "--hookup", "short"});
    auto request = noise_request(coil, 0.5);
    request.generator_input = 0;
    request.coil_input = 1;
    const auto straight = play(request);
    ASSERT_TRUE(straight.ok()) << straight.error().message;
    // Shorted, the coil side is silent and the generator side is not.
    EXPECT_TRUE(std::ranges::all_of(straight->capture.coil, [](double x) { return x == 0; }));
    request.coil_input = 0;
    const auto twice = play(request);
    ASSERT_TRUE(twice.ok()) << twice.error().message;
    EXPECT_EQ(twice->capture.coil, twice->capture.generator);
    request.coil_input = 2;
    expect_fault(play(request), "has 2 inputs and 1 output,");
}

TEST(PortAudioPort, ADeviceWithoutInputsOrOutputsIsListedAndRefused) {
    const JackServer server({});
    for (const auto& [ports, words] : {std::pair{"input", "has 0 inputs and 1 output, but input 2 and output 1"},
                                       std::pair{"outputs", "has 2 inputs and 0 outputs, but input 2 and output 1"}}) {
        const JackCoil lame({"--ports", ports});
        const auto devices = make_portaudio_port()->devices();
        ASSERT_TRUE(devices.ok()) << devices.error().message;
        const auto found = std::ranges::find(*devices, lame.name(), &DeviceInfo::name);
        ASSERT_NE(found, devices->end());
        EXPECT_TRUE(found->rates_hz.empty()) << "there is none at which it plays and records";
        expect_fault(play(noise_request(lame, 0.1)), words);
    }
    const JackCoil coil({"--hookup", "bypass", "--freewheel"});
    const auto request = noise_request(coil, 0.1);
    expect_exact(play(request), request);
}

#ifndef __SANITIZE_ADDRESS__  // whose runtime must be loaded before everything else
// Of PaErrorCode in portaudio.h 19.6.
constexpr int kDeviceUnavailable = -9985, kInsufficientMemory = -9992, kUnanticipatedHostError = -9999;

// The program starts this executable again for its audio; what is loaded before its library refuses every stream.
class Refusing {
public:
    explicit Refusing(int error) {
        setenv("LD_PRELOAD", COLDTUNE_BIN_DIR "/audio_that_refuses.so", 1);
        setenv("COLDTUNE_TEST_STREAM_ERROR", std::to_string(error).c_str(), 1);
    }
    ~Refusing() {
        unsetenv("LD_PRELOAD");
        unsetenv("COLDTUNE_TEST_STREAM_ERROR");
    }
    Refusing(const Refusing&) = delete;
    Refusing& operator=(const Refusing&) = delete;
};

TEST(PortAudioPort, ADeviceHeldByAnotherProgramIsNamedAndTheNextSweepWorks) {
    const JackServer server({});
    const JackCoil coil({"--hookup", "bypass", "--freewheel"});
    const auto request = noise_request(coil, 0.1);
    for (const auto& [error, words] :
         {std::pair{kDeviceUnavailable, "is in use by another program or was unplugged: free it and try again"},
          std::pair{kInsufficientMemory, "the audio server turns this program away; close other audio programs"},
          std::pair{kUnanticipatedHostError, "cannot be opened with 2 inputs and 1 output at"}}) {
        {
            const Refusing refusing(error);
            const auto begin = Clock::now();
            const auto recording = play(request);
            expect_fault(recording, words);
            EXPECT_THAT(recording.error().message, HasSubstr("'" + coil.name() + "'"));
            EXPECT_LT(since(begin), 8);  // as for a server that never answers
        }
        EXPECT_EQ(audio_children(), 0);
        expect_exact(play(request), request);
    }
}
#endif

TEST(PortAudioPort, ListsTheDeviceWithTheRatesItTakes) {
    const JackServer server({.rate_hz = 96000});
    const JackCoil coil({"--freewheel"});
    const auto devices = make_portaudio_port()->devices();
    ASSERT_TRUE(devices.ok()) << devices.error().message;
    std::vector<std::string> names;
    for (const DeviceInfo& device : *devices) names.push_back(device.name);
    std::ranges::sort(names);
    EXPECT_EQ(std::ranges::adjacent_find(names), names.end()) << "two devices share a name";
    const auto found = std::ranges::find(*devices, coil.name(), &DeviceInfo::name);
    ASSERT_NE(found, devices->end());
    EXPECT_EQ(found->host, "JACK Audio Connection Kit");
    EXPECT_EQ(found->input_channels, 2);
    EXPECT_EQ(found->output_channels, 1);
    EXPECT_EQ(found->default_rate_hz, 96000);
    EXPECT_EQ(found->rates_hz, std::vector<double>{96000});
    EXPECT_EQ(audio_children(), 0);
}

TEST(PortAudioPort, ListsWithoutAnyServer) {
    const auto begin = Clock::now();
    const auto devices = make_portaudio_port()->devices();
    ASSERT_TRUE(devices.ok()) << devices.error().message;
    EXPECT_LT(since(begin), 5);
}

TEST(PortAudioPort, UnknownDeviceIsNamedBesideThoseThereAre) {
    const JackServer server({});
    const JackCoil coil({"--freewheel"});
    auto request = noise_request(coil, 0.1);
    request.device = "no such thing";
    const auto recording = play(request);
    expect_fault(recording, "no audio device 'no such thing'");
    EXPECT_THAT(recording.error().message, HasSubstr("'" + coil.name() + "'"));
    // A part of a name is not the name.
    request.device = coil.name().substr(0, coil.name().size() - 1);
    expect_fault(play(request), "no audio device");
}

TEST(PortAudioPort, AnotherRateIsRefusedAndTheRightOneNamed) {
    const JackServer server({.rate_hz = 96000});
    const JackCoil coil({"--freewheel"});
    auto request = noise_request(coil, 0.1);
    request.sample_rate_hz = 192000;
    const auto recording = play(request);
    expect_fault(recording, "does not run at 192000 Hz");
    EXPECT_THAT(recording.error().message, HasSubstr("96000"));
}

TEST(PortAudioPort, NonsenseIsAUsageErrorBeforeAnythingStarts) {
    SweepRequest good;
    good.device = "x";
    good.sample_rate_hz = 48000;
    good.stimulus = {0, 0.5, 0};
    const auto kind = [](const SweepRequest& request) {
        const auto recording = play(request);
        return recording.ok() ? std::string("played") : fmt::format("{}", static_cast<int>(recording.error().kind));
    };
    const std::string usage = fmt::format("{}", static_cast<int>(ErrorKind::usage));
    for (const double rate : {0.0, -1.0, std::nan(""), 1e12}) {
        auto request = good;
        request.sample_rate_hz = rate;
        EXPECT_EQ(kind(request), usage) << rate;
    }
    for (const double sample : {1.001, -2.0, std::nan(""), static_cast<double>(INFINITY)}) {
        auto request = good;
        request.stimulus[1] = sample;
        EXPECT_EQ(kind(request), usage) << sample;
    }
    auto request = good;
    request.stimulus.clear();
    EXPECT_EQ(kind(request), usage);
    request = good;
    request.tail_frames = static_cast<std::size_t>(-1);
    EXPECT_EQ(kind(request), usage);
    request = good;
    request.coil_input = 1U << 31U;
    EXPECT_EQ(kind(request), usage);
}

// A tone without gaps, so that the last sample that is not zero is where the output ended.
SweepRequest tone_request(const JackCoil& coil, double seconds) {
    SweepRequest request;
    request.device = coil.name();
    request.sample_rate_hz = coil.rate_hz();
    request.stimulus.resize(static_cast<std::size_t>(seconds * coil.rate_hz()));
    for (std::size_t i = 0; i < request.stimulus.size(); ++i) {
        request.stimulus[i] =
            0.5 * std::cos(2 * std::numbers::pi * 1000 * static_cast<double>(i) / request.sample_rate_hz);
    }
    return request;
}

struct StoppedTape {
    std::size_t at_stop = 0;     // frames on the tape when the stop was asked for
    std::size_t last_sound = 0;  // one past the last sample that is not zero
    float largest_step = 0;      // between neighbouring samples
};

StoppedTape read_tape(const testing::Tape& tape, std::size_t at_stop) {
    StoppedTape result = {at_stop, 0, 0};
    const auto samples = tape.recorded();
    for (std::size_t i = 1; i < samples.size(); ++i) {
        if (samples[i] != 0) result.last_sound = i + 1;
        result.largest_step = std::max(result.largest_step, std::abs(samples[i] - samples[i - 1]));
    }
    return result;
}

void expect_soft_silence(const StoppedTape& tape, double rate_hz) {
    EXPECT_GT(tape.last_sound, 0U);
    EXPECT_LT(static_cast<double>(tape.last_sound) - static_cast<double>(tape.at_stop), 0.050 * rate_hz);
    // 0.5 at 1 kHz moves by 0.5 * 2 pi 1000 / rate a sample; the ramp of 5 ms adds 0.5 * (pi / 2) / (0.005 rate).
    const double steepest = 0.5 * (2 * std::numbers::pi * 1000 + std::numbers::pi / 2 / 0.005) / rate_hz;
    EXPECT_LT(static_cast<double>(tape.largest_step), 1.01 * steepest) << "the output was cut off, not ramped down";
}

TEST(PortAudioPort, StopLeavesSilenceWithinFiftyMilliseconds) {
    const JackServer server(testing::patient);
    const JackCoil coil({"--hookup", "bypass"});
    const testing::Tape* tape = &coil.tape();
    std::stop_source stop;
    std::size_t at_stop = 0;
    const auto begin = Clock::now();
    const auto recording =
        make_portaudio_port()->play_and_record(tone_request(coil, 20), stop.get_token(), [&](const Progress& progress) {
            if (progress.fraction < 0.02 || at_stop > 0) return;
            at_stop = tape->recorded().size();
            stop.request_stop();
        });
    ASSERT_FALSE(recording.ok());
    EXPECT_EQ(recording.error().kind, ErrorKind::rejected);
    EXPECT_EQ(recording.error().message, "stopped");
    EXPECT_LT(since(begin), 3);
    expect_soft_silence(read_tape(*tape, at_stop), coil.rate_hz());
    EXPECT_EQ(audio_children(), 0);
}

// Ctrl-C in a terminal reaches the audio child too, and a program that is killed leaves it behind.
TEST(PortAudioPort, SignalsToTheChildAndTheEndOfTheProgramRampDown) {
    for (const bool program_dies : {false, true}) {
        const JackServer server(testing::patient);
        const JackCoil coil({"--hookup", "bypass"});
        const testing::Tape* tape = &coil.tape();
        const auto request = tone_request(coil, 20);
        // The program: a process of its own, because it is to die.
        const pid_t program = fork();
        if (program == 0) {
            const auto recording = play(request);
            const bool stopped = !recording.ok() && recording.error().kind == ErrorKind::rejected;
            _exit(stopped ? 42 : 1);
        }
        const auto begin = Clock::now();
        const auto heard = [&] {
            const auto samples = tape->recorded();
            return samples.size() > 20000 && samples[samples.size() - 1000] != 0;
        };
        while (!heard() && since(begin) < 5) std::this_thread::sleep_for(std::chrono::milliseconds(1));
        std::ifstream children(fmt::format("/proc/{0}/task/{0}/children", program));
        pid_t child = 0;
        ASSERT_TRUE(children >> child);
        const std::size_t at_stop = tape->recorded().size();
        ::kill(program_dies ? program : child, program_dies ? SIGKILL : SIGINT);
        int status = 0;
        waitpid(program, &status, 0);
        if (!program_dies) {
            EXPECT_EQ(WEXITSTATUS(status), 42);
        }
        const auto ended = Clock::now();
        while (::kill(child, 0) == 0 && since(ended) < 3) std::this_thread::sleep_for(std::chrono::milliseconds(1));
        EXPECT_LT(since(ended), 2.5) << "the audio child outlived its program";
        expect_soft_silence(read_tape(*tape, at_stop), coil.rate_hz());
    }
}

TEST(PortAudioPort, AStopAskedForBeforehandPlaysNothing) {
    const JackServer server({});
    const JackCoil coil({"--freewheel"});
    std::stop_source stop;
    stop.request_stop();
    const auto recording = make_portaudio_port()->play_and_record(noise_request(coil, 0.1), stop.get_token(), {});
    ASSERT_FALSE(recording.ok());
    EXPECT_EQ(recording.error().kind, ErrorKind::rejected);
}

TEST(PortAudioPort, LateBuffersAreAFault) {
    const JackServer server(testing::real_speed);
    const JackCoil coil({"--hookup", "bypass", "--late-after", "0.3", "--late", "0.1"});
    // Whether the library flags it or the input shows the gap: never a recording.
    expect_swift_fault(noise_request(coil, 3), coil, coil.name());
}

TEST(PortAudioPort, AVanishedSourceIsAFaultAtAnySpeed) {
    for (const bool fast : {true, false}) {
        for (const char* how : {"--die-after", "--mute-after"}) {
            const JackServer server(fast ? ServerOptions{} : testing::real_speed);
            std::vector<std::string> arguments = {"--hookup", "bypass", how, "0.4"};
            if (fast) arguments.emplace_back("--freewheel");
            const JackCoil coil(arguments);
            expect_swift_fault(noise_request(coil, 4), coil, coil.name());
        }
    }
}

TEST(PortAudioPort, AStalledSourceIsAFault) {
    for (const bool fast : {true, false}) {
        const JackServer server(fast ? ServerOptions{} : testing::real_speed);
        std::vector<std::string> arguments = {"--hookup", "bypass", "--stall-after", "0.3"};
        if (fast) arguments.emplace_back("--freewheel");
        JackCoil coil(arguments);
        expect_swift_fault(noise_request(coil, 4), coil, coil.name());
        coil.process().signal(SIGKILL);  // it does not listen to anything else
    }
}

TEST(PortAudioPort, ADeadServerIsAFaultAndTheNextSweepWorks) {
    for (const bool fast : {true, false}) {
        {
            const JackServer server(fast ? ServerOptions{} : testing::patient);
            std::vector<std::string> arguments = {"--hookup", "bypass",     "--kill-after",
                                                  "0.5",      "--kill-pid", std::to_string(server.pid())};
            if (fast) arguments.emplace_back("--freewheel");
            const JackCoil coil(arguments);
            expect_swift_fault(noise_request(coil, 4), coil, "stopped in mid-recording");
        }
        const JackServer server({});
        const JackCoil coil({"--hookup", "bypass", "--freewheel"});
        const auto request = noise_request(coil, 0.5);
        expect_exact(play(request), request);
    }
}

TEST(PortAudioPort, AServerThatNeverAnswersIsNoHang) {
    const JackServer server({});
    std::string name;
    {
        const JackCoil coil({"--freewheel"});
        name = coil.name();
    }
    ::kill(server.pid(), SIGSTOP);
    SweepRequest request;
    request.device = name;
    request.sample_rate_hz = 192000;
    request.stimulus.assign(19200, 0.1);
    const auto begin = Clock::now();
    const auto recording = play(request);
    EXPECT_FALSE(recording.ok());
    EXPECT_EQ(recording.error().kind, ErrorKind::device);
    EXPECT_LT(since(begin), 8);  // six seconds for opening, and ending the child
    ::kill(server.pid(), SIGCONT);
}

}  // namespace
}  // namespace coldtune::audio
