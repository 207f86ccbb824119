#include "analyzer/audio/audio_child.hpp"

#include <fmt/format.h>
#include <portaudio.h>
#include <signal.h>
#include <sys/prctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <map>
#include <string>
#include <thread>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/audio/child_process.hpp"
#include "analyzer/audio/shared_stream.hpp"
#include "analyzer/audio/stream_copier.hpp"

namespace coldtune::audio {
namespace {

// Longest stay in one call of the audio library before SIGALRM ends this process. Opening a USB interface can take
// seconds; stopping takes one buffer.
constexpr unsigned open_limit_s = 8;  // longer than the program waits, which has the better sentence
constexpr unsigned close_limit_s = 2;
constexpr double warm_up_s = 0.1;
constexpr std::array<double, 8> usual_rates_hz = {44100, 48000, 88200, 96000, 176400, 192000, 352800, 384000};
// Reported rates come as doubles computed from periods; anything beyond rounding is another rate.
constexpr double rate_tolerance = 1e-6;

std::atomic<bool> interrupted = false;
static_assert(std::atomic<bool>::is_always_lock_free);  // set from a signal handler

void on_stop_signal(int /*signal*/) {
    interrupted.store(true, std::memory_order_relaxed);
    alarm(close_limit_s);  // in case the audio library is what hangs
}

struct Device {
    PaDeviceIndex index = 0;
    const PaDeviceInfo* info = nullptr;
    std::string host;
    std::string name;  // unique
};

bool is_utf8(const std::string& text) {
    std::size_t following = 0;
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (following > 0) {
            if ((byte & 0xC0U) != 0x80U) return false;
            --following;
        } else if (byte >= 0x80U) {
            following = (byte & 0xE0U) == 0xC0U ? 1 : (byte & 0xF0U) == 0xE0U ? 2 : (byte & 0xF8U) == 0xF0U ? 3 : 0;
            if (following == 0) return false;
        }
    }
    return following == 0;
}

// A name that fits on a line, in a message and in JSON.
std::string plain_name(const char* raw) {
    std::string name = raw == nullptr ? "" : raw;
    const bool valid = is_utf8(name);
    for (char& c : name) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x20U || byte == 0x7FU) c = ' ';
        if (!valid && byte >= 0x80U) c = '?';
    }
    return name.empty() ? "unnamed" : name;
}

// Every device, each under a name of its own: as the library calls it, with the host interface where two share a name,
// with a number where even that does not tell them apart.
std::vector<Device> find_devices() {
    std::vector<Device> devices;
    std::map<std::string, int> plain_count;
    for (PaDeviceIndex i = 0; i < std::max(0, Pa_GetDeviceCount()); ++i) {
        const PaDeviceInfo* info = Pa_GetDeviceInfo(i);
        if (info == nullptr) continue;
        const PaHostApiInfo* host = Pa_GetHostApiInfo(info->hostApi);
        devices.push_back({i, info, plain_name(host == nullptr ? nullptr : host->name), plain_name(info->name)});
        ++plain_count[devices.back().name];
    }
    std::map<std::string, int> used;
    for (Device& device : devices) {
        if (plain_count[device.name] > 1) device.name += fmt::format(" ({})", device.host);
        const std::string base = device.name;
        for (int number = 2; used[device.name]++ > 0; ++number) device.name = fmt::format("{} #{}", base, number);
    }
    return devices;
}

PaStreamParameters parameters(const Device& device, int channels, bool input) {
    PaStreamParameters result = {};
    result.device = device.index;
    result.channelCount = channels;
    result.sampleFormat = paFloat32;
    // Latency does not matter here, an interruption does.
    result.suggestedLatency = input ? device.info->defaultHighInputLatency : device.info->defaultHighOutputLatency;
    return result;
}

// The usual rates at which the device plays one channel while it records up to two.
std::vector<double> accepted_rates(const Device& device, int inputs, int outputs) {
    std::vector<double> rates;
    if (device.info->maxInputChannels < inputs || device.info->maxOutputChannels < outputs) return rates;
    const PaStreamParameters input = parameters(device, inputs, true);
    const PaStreamParameters output = parameters(device, outputs, false);
    for (const double rate : usual_rates_hz) {
        if (Pa_IsFormatSupported(&input, &output, rate) == paFormatIsSupported) rates.push_back(rate);
    }
    return rates;
}

std::string join_rates(const std::vector<double>& rates, const char* separator) {
    return fmt::format("{}", fmt::join(rates, separator));
}

// Publishes a final state. Everything before it is visible to whoever sees it.
void finish(StreamBlock& block, ChildState state) {
    block.state.store(state, std::memory_order_release);
}

void fail(StreamBlock& block, const std::string& message) {
    put_text(block.message, message);
    finish(block, ChildState::failed);
}

// The same in a place where the library still answers.
bool give_up(StreamBlock& block, const std::string& message) {
    fail(block, message);
    return true;
}

int on_audio(const void* input, void* output, unsigned long frames, const PaStreamCallbackTimeInfo* /*time*/,
             PaStreamCallbackFlags raw, void* copier) {
    StreamFlags flags;
    flags.input_overflow = (raw & paInputOverflow) != 0;
    flags.input_underflow = (raw & paInputUnderflow) != 0;
    flags.output_overflow = (raw & paOutputOverflow) != 0;
    flags.output_underflow = (raw & paOutputUnderflow) != 0;
    static_cast<StreamCopier*>(copier)->process(static_cast<const float*>(input), static_cast<float*>(output), frames,
                                                flags);
    return paContinue;  // this process ends the stream, not the callback
}

void list_devices(StreamBlock& block) {
    std::string text;
    for (const Device& device : find_devices()) {
        const int inputs = std::min(2, device.info->maxInputChannels);
        const auto rates = inputs > 0 ? accepted_rates(device, inputs, 1) : std::vector<double>{};
        std::string line =
            fmt::format("{}\t{}\t{}\t{}\t{}\t{}\n", device.name, device.host, device.info->maxInputChannels,
                        device.info->maxOutputChannels, device.info->defaultSampleRate, join_rates(rates, ","));
        if (text.size() + line.size() >= StreamBlock::listing_bytes) break;
        text += line;
    }
    put_text(block.listing, text);
    finish(block, ChildState::done);
}

std::string counted(int count, const char* what) {
    return fmt::format("{} {}{}", count, what, count == 1 ? "" : "s");
}

std::string not_found(const std::string& wanted, const std::vector<Device>& devices) {
    if (devices.empty()) {
        return fmt::format("no audio device '{}': this system has no audio device at all; connect the interface",
                           wanted);
    }
    std::vector<std::string> names;
    names.reserve(devices.size());
    for (const Device& device : devices) names.push_back("'" + device.name + "'");
    return fmt::format("no audio device '{}'; there are {}", wanted, fmt::join(names, ", "));
}

std::string why_not_opened(PaError error, const Device& device, const StreamBlock& block, int inputs, int outputs) {
    const auto rates = accepted_rates(device, inputs, outputs);
    const bool rate_offered = std::find(rates.begin(), rates.end(), block.sample_rate_hz) != rates.end();
    if (error == paInvalidSampleRate || (!rates.empty() && !rate_offered)) {
        return fmt::format("'{}' does not run at {} Hz; {}", device.name, block.sample_rate_hz,
                           rates.empty() ? "it accepts none of the usual rates now: choose the rate it is set to"
                                         : "it accepts " + join_rates(rates, ", ") + " Hz: choose one of these");
    }
    if (error == paDeviceUnavailable) {
        return fmt::format("'{}' is in use by another program or was unplugged: free it and try again", device.name);
    }
    // What the library calls so is a server that lets nobody in: starved, or at its limit of clients.
    if (error == paInsufficientMemory && Pa_GetHostApiInfo(device.info->hostApi)->type == paJACK) {
        return fmt::format(
            "'{}' cannot be opened: the audio server turns this program away; close other audio programs "
            "or restart the server, and try again",
            device.name);
    }
    std::string text = Pa_GetErrorText(error);
    if (error == paUnanticipatedHostError && Pa_GetLastHostErrorInfo()->errorText != nullptr) {
        text += fmt::format(" ({})", Pa_GetLastHostErrorInfo()->errorText);
    }
    return fmt::format("'{}' cannot be opened with {} and {} at {} Hz: {}; choose other settings or reconnect it",
                       device.name, counted(inputs, "input"), counted(outputs, "output"), block.sample_rate_hz,
                       plain_name(text.c_str()));
}

// Runs the started stream to its end. True if the library may still be spoken to.
bool follow(PaStream* stream, StreamBlock& block, const std::string& name) {
    while (true) {
        if (block.held == 0 && block.frames.load(std::memory_order_acquire) >= block.total_frames) {
            finish(block, ChildState::done);
            return true;
        }
        // The second silent buffer is begun when the first, and all before it, has been handed over.
        if (block.silent_callbacks.load(std::memory_order_relaxed) >= 2) {
            finish(block, ChildState::stopped);
            return true;
        }
        if (Pa_IsStreamActive(stream) != 1) {
            // The audio server is gone; from here on no call of the library returns.
            fail(block, fmt::format("'{}' stopped in mid-recording: its audio server ended or the interface was "
                                    "unplugged; start it again and repeat",
                                    name));
            return false;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
}

// True if the library may still be spoken to afterwards.
bool play_and_record(const SharedStream& shared) {
    StreamBlock& block = shared.block();
    const auto devices = find_devices();
    const std::string wanted = block.device;
    const auto found =
        std::find_if(devices.begin(), devices.end(), [&](const Device& device) { return device.name == wanted; });
    if (found == devices.end()) return give_up(block, not_found(wanted, devices));
    const int inputs = static_cast<int>(std::max(block.generator_input, block.coil_input)) + 1;
    const int outputs = static_cast<int>(block.output_channel) + 1;
    if (found->info->maxInputChannels < inputs || found->info->maxOutputChannels < outputs) {
        return give_up(
            block, fmt::format(
                       "'{}' has {} and {}, but input {} and output {} are asked for: choose other channels or another "
                       "device",
                       found->name, counted(found->info->maxInputChannels, "input"),
                       counted(found->info->maxOutputChannels, "output"), inputs, outputs));
    }
    StreamCopier copier(shared, static_cast<std::size_t>(inputs), static_cast<std::size_t>(outputs),
                        static_cast<std::size_t>(warm_up_s * block.sample_rate_hz), interrupted);
    const PaStreamParameters input = parameters(*found, inputs, true);
    const PaStreamParameters output = parameters(*found, outputs, false);
    PaStream* stream = nullptr;
    PaError error = Pa_OpenStream(&stream, &input, &output, block.sample_rate_hz, paFramesPerBufferUnspecified,
                                  paClipOff | paDitherOff, on_audio, &copier);
    if (error != paNoError) return give_up(block, why_not_opened(error, *found, block, inputs, outputs));
    const PaStreamInfo* info = Pa_GetStreamInfo(stream);
    block.actual_rate_hz = info == nullptr ? 0 : info->sampleRate;
    if (std::abs(block.actual_rate_hz - block.sample_rate_hz) > rate_tolerance * block.sample_rate_hz) {
        return give_up(block,
                       fmt::format("'{}' runs at {} Hz although {} Hz were asked for: set the interface to that rate "
                                   "or ask for the one it has",
                                   found->name, block.actual_rate_hz, block.sample_rate_hz));
    }
    block.state.store(ChildState::starting, std::memory_order_release);
    error = Pa_StartStream(stream);
    if (error != paNoError) {
        return give_up(block, fmt::format("'{}' did not start: {}; reconnect it and try again", found->name,
                                          plain_name(Pa_GetErrorText(error))));
    }
    block.state.store(ChildState::running, std::memory_order_release);
    alarm(0);  // the program watches the counters from here on
    if (!follow(stream, block, found->name)) return false;
    alarm(close_limit_s);
    Pa_StopStream(stream);  // plays what is still buffered, which is silence
    Pa_CloseStream(stream);
    return true;
}

// Ends with the program: SIGTERM when the thread that started us is gone. False if that has already happened.
bool follow_parent(const char* parent_pid) {
    return prctl(PR_SET_PDEATHSIG, SIGTERM) == 0 && std::to_string(getppid()) == parent_pid;
}

}  // namespace

int run_audio_child(int argc, char** argv) {
    struct sigaction action = {};
    action.sa_handler = on_stop_signal;
    action.sa_flags = SA_RESTART;
    sigaction(SIGINT, &action, nullptr);
    sigaction(SIGTERM, &action, nullptr);
    struct sigaction ignore = {};
    ignore.sa_handler = SIG_IGN;
    sigaction(SIGPIPE, &ignore, nullptr);  // a dying server closes its sockets on us
    sigaction(SIGHUP, &ignore, nullptr);   // the program decides, and its end reaches us
    if (argc != 4 || !follow_parent(argv[3])) return EXIT_FAILURE;

    auto shared = SharedStream::attach(child_descriptor);
    if (!shared) return EXIT_FAILURE;
    StreamBlock& block = shared->block();
    block.state.store(ChildState::opening, std::memory_order_release);
    alarm(open_limit_s);
    const PaError error = Pa_Initialize();
    if (error != paNoError) {
        fail(block, fmt::format("the audio library does not start: {}; is the sound system of this computer set up?",
                                plain_name(Pa_GetErrorText(error))));
    } else {
        bool answers = true;
        if (std::string_view(argv[2]) == "devices") {
            list_devices(block);
        } else {
            answers = play_and_record(*shared);
        }
        // A JACK server stumbles for seconds over a client that ends without taking its leave.
        alarm(close_limit_s);
        if (answers) Pa_Terminate();
    }
    // Never through the library's own exit handlers: they are among what hangs.
    _exit(EXIT_SUCCESS);
}

int run_audio_child_if_asked(int argc, char** argv) {
    if (argc < 2 || argv[1] != child_argument || std::getenv(child_variable) == nullptr) return -1;
    try {
        return run_audio_child(argc, argv);
    } catch (const std::exception&) {
        return EXIT_FAILURE;  // out of memory: the program reports that its audio process ended
    }
}

}  // namespace coldtune::audio
