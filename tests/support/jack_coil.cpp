// A JACK client that is the coil: one input (what the generator plays), two outputs (generator side, coil side). It
// states its own design values as one line of JSON when it is ready, and misbehaves when told to. Times are seconds of
// audio since the chosen sweep came in, so that a server running faster than time (freewheel) sees the same.
#include <fcntl.h>
#include <jack/jack.h>
#include <signal.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <iostream>
#include <limits>
#include <memory>
#include <nlohmann/json.hpp>
#include <numbers>
#include <optional>
#include <random>
#include <string>
#include <thread>
#include <vector>

#include "tests/support/coil_circuit.hpp"
#include "tests/support/tape.hpp"

namespace {

using namespace coldtune::testing;

struct Options {
    std::string name = "coil";
    CoilDesign design;
    bool bypass = false;  // both outputs are the input, bit for bit
    bool freewheel = false;
    std::string ports = "both";  // or "input", "outputs": what the device lacks the other of
    std::optional<double> noise_dbfs;
    std::uint64_t seed = 1;
    std::optional<double> die_after_s, stall_after_s, mute_after_s, late_after_s, kill_after_s;
    double late_s = 0.2;
    int kill_pid = 0;
    int sweep = 1;  // in which to misbehave
    std::vector<std::string>
        sequence;  // what hangs at the coil side in the first sweep, the second ...; the last stays
    std::string tape;
};

struct Client {
    Options options;
    jack_client_t* jack = nullptr;
    jack_port_t* input = nullptr;
    jack_port_t* generator = nullptr;
    jack_port_t* coil = nullptr;
    double rate_hz = 0;
    std::unique_ptr<CoilCircuit> circuit;
    std::vector<std::unique_ptr<CoilCircuit>> sequence;
    std::mt19937_64 random;
    std::normal_distribution<double> normal;
    double noise_rms = 0;
    int sweep = 0;                   // number of the last one heard; a pause of 0.15 s divides them
    std::uint64_t heard_frames = 0;  // since the chosen sweep began, 0 = not yet
    std::uint64_t quiet_frames = 0;  // since the last sound
    bool was_late = false;
    Tape* tape = nullptr;
};

std::atomic<bool> server_gone = false;

bool reached(const std::optional<double>& seconds, const Client& client) {
    return seconds && client.heard_frames > 0 && static_cast<double>(client.heard_frames) >= *seconds * client.rate_hz;
}

void misbehave(Client& client) {
    const Options& options = client.options;
    for (const auto* when : {&options.kill_after_s, &options.die_after_s, &options.stall_after_s, &options.late_after_s,
                             &options.mute_after_s}) {
        if (reached(*when, client) && client.tape != nullptr) client.tape->note_fault();
    }
    if (reached(options.kill_after_s, client)) ::kill(options.kill_pid, SIGKILL);
    if (reached(options.die_after_s, client)) raise(SIGKILL);
    while (reached(options.stall_after_s, client)) pause();
    if (reached(options.late_after_s, client) && !client.was_late) {
        client.was_late = true;
        std::this_thread::sleep_for(std::chrono::duration<double>(options.late_s));
    }
}

int process(jack_nframes_t frames, void* argument) {
    Client& client = *static_cast<Client*>(argument);
    if (client.input == nullptr || client.coil == nullptr) return 0;
    const auto* input = static_cast<const float*>(jack_port_get_buffer(client.input, frames));
    auto* generator = static_cast<float*>(jack_port_get_buffer(client.generator, frames));
    auto* coil = static_cast<float*>(jack_port_get_buffer(client.coil, frames));
    const bool sounds = std::any_of(input, input + frames, [](float x) { return x != 0; });
    if (sounds && (client.sweep == 0 || static_cast<double>(client.quiet_frames) > 0.15 * client.rate_hz))
        ++client.sweep;
    CoilCircuit& circuit =
        client.sequence.empty()
            ? *client.circuit
            : *client
                   .sequence[std::min(client.sequence.size(), static_cast<std::size_t>(std::max(1, client.sweep))) - 1];
    client.quiet_frames = sounds ? 0 : client.quiet_frames + frames;
    // Faster than time it would fill up with silence before anything happens.
    if (client.tape != nullptr && !client.options.freewheel) client.tape->append(input, frames);
    misbehave(client);
    if (client.sweep >= client.options.sweep) client.heard_frames += frames;

    if (reached(client.options.mute_after_s, client)) {
        std::fill_n(generator, frames, 0.0F);
        std::fill_n(coil, frames, 0.0F);
        return 0;
    }
    // Half a second after the last sound everything has died away, whatever the Q; do not burn the processor.
    const bool idle = static_cast<double>(client.quiet_frames) > 0.5 * client.rate_hz;
    if (idle && client.options.freewheel) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    for (jack_nframes_t i = 0; i < frames; ++i) {
        double generator_side = static_cast<double>(input[i]);
        double coil_side = generator_side;
        if (!client.options.bypass && !idle) {
            circuit.process(static_cast<double>(input[i]), generator_side, coil_side);
        }
        if (client.noise_rms > 0) {
            generator_side += client.noise_rms * client.normal(client.random);
            coil_side += client.noise_rms * client.normal(client.random);
        }
        generator[i] = static_cast<float>(generator_side);
        coil[i] = static_cast<float>(coil_side);
    }
    return 0;
}

Fixture fixture_of(const std::string& hookup) {
    return hookup == "open"    ? Fixture::open
           : hookup == "short" ? Fixture::shorted
           : hookup == "load"  ? Fixture::load
                               : Fixture::foot;
}

std::optional<int> parse(int argc, char** argv, Options& options) {
    CLI::App app("A coil behind a JACK server");
    std::string hookup = "foot";
    double input_ohm = std::numeric_limits<double>::infinity();
    app.add_option("--name", options.name);
    app.add_option("--frequency", options.design.frequency_hz);
    app.add_option("--q", options.design.q);
    app.add_option("--resistance", options.design.resistance_ohm);
    app.add_option("--stray", options.design.stray_f);
    app.add_option("--input-c", options.design.input_f);
    app.add_option("--input-r", input_ohm);
    app.add_option("--reference", options.design.reference_ohm);
    app.add_option("--load", options.design.load_ohm);
    app.add_option("--hookup", hookup)->check(CLI::IsMember({"foot", "open", "short", "load", "bypass"}));
    app.add_option("--sequence", options.sequence, "hookups of the first sweep, the second ...; the last one stays")
        ->delimiter(',');
    app.add_flag("--freewheel", options.freewheel);
    app.add_option("--ports", options.ports)->check(CLI::IsMember({"both", "input", "outputs"}));
    app.add_option("--noise-dbfs", options.noise_dbfs, "rms of each output against a full-scale sine");
    app.add_option("--seed", options.seed);
    app.add_option("--in-sweep", options.sweep, "the sweep after whose begin times are counted");
    app.add_option("--die-after", options.die_after_s);
    app.add_option("--stall-after", options.stall_after_s);
    app.add_option("--mute-after", options.mute_after_s);
    app.add_option("--late-after", options.late_after_s, "sleep once for --late seconds");
    app.add_option("--late", options.late_s);
    app.add_option("--kill-after", options.kill_after_s, "SIGKILL to --kill-pid");
    app.add_option("--kill-pid", options.kill_pid);
    app.add_option("--tape", options.tape, "record the input into this file");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error);
    }
    options.design.input_siemens = 1 / input_ohm;
    options.bypass = hookup == "bypass";
    options.design.fixture = fixture_of(hookup);
    return std::nullopt;
}

// The server may be just starting: asks until it answers.
jack_client_t* connect(const std::string& name) {
    jack_set_error_function([](const char*) {});
    jack_set_info_function([](const char*) {});
    for (int attempt = 0; attempt < 1000; ++attempt) {
        jack_client_t* client = jack_client_open(name.c_str(), JackNoStartServer, nullptr);
        if (client != nullptr) return client;
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    return nullptr;
}

void say_design(const Client& client) {
    nlohmann::json line = {{"rate_hz", client.rate_hz}, {"pid", getpid()}};
    const CoilDesign& design = client.options.design;
    if (!client.options.bypass && design.fixture == Fixture::foot) {
        line["frequency_hz"] = static_cast<double>(client.circuit->zero_reactance_hz());
        line["q"] = static_cast<double>(client.circuit->half_power_q());
        line["resistance_ohm"] = design.resistance_ohm;
    }
    std::cout << line.dump() << std::endl;
}

int run(int argc, char** argv) {
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    Client client;
    if (const auto code = parse(argc, argv, client.options)) return *code;
    // Taken by sigwait below; blocked before the library starts threads.
    sigset_t end_signals;
    sigemptyset(&end_signals);
    sigaddset(&end_signals, SIGTERM);
    sigaddset(&end_signals, SIGINT);
    pthread_sigmask(SIG_BLOCK, &end_signals, nullptr);
    client.jack = connect(client.options.name);
    if (client.jack == nullptr) {
        std::cerr << "jack_coil: no JACK server answers under the name in JACK_DEFAULT_SERVER\n";
        return 1;
    }
    client.rate_hz = jack_get_sample_rate(client.jack);
    client.circuit = std::make_unique<CoilCircuit>(client.options.design, client.rate_hz);
    for (const std::string& hookup : client.options.sequence) {
        CoilDesign design = client.options.design;
        design.fixture = fixture_of(hookup);
        client.sequence.push_back(std::make_unique<CoilCircuit>(design, client.rate_hz));
    }
    client.random.seed(client.options.seed);
    if (client.options.noise_dbfs) {
        client.noise_rms = std::pow(10.0, *client.options.noise_dbfs / 20) / std::numbers::sqrt2;
    }
    if (!client.options.tape.empty()) {
        client.tape = Tape::create(client.options.tape);
        if (client.tape == nullptr) {
            std::cerr << "jack_coil: cannot write " << client.options.tape << "\n";
            return 1;
        }
    }
    constexpr unsigned long from_type = 0;
    if (client.options.ports != "outputs")
        client.input = jack_port_register(client.jack, "in", JACK_DEFAULT_AUDIO_TYPE, JackPortIsInput, from_type);
    if (client.options.ports != "input") {
        client.generator =
            jack_port_register(client.jack, "generator", JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput, from_type);
        client.coil = jack_port_register(client.jack, "coil", JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput, from_type);
    }
    jack_set_process_callback(client.jack, process, &client);
    jack_on_shutdown(
        client.jack,
        [](void*) {
            server_gone = true;
            ::kill(getpid(), SIGTERM);
        },
        nullptr);
    if (jack_activate(client.jack) != 0) {
        std::cerr << "jack_coil: the server refuses to run the client\n";
        return 1;
    }
    if (client.options.freewheel && jack_set_freewheel(client.jack, 1) != 0) {
        std::cerr << "jack_coil: the server refuses to freewheel\n";
        return 1;
    }
    say_design(client);
    int signal = 0;
    sigwait(&end_signals, &signal);
    if (!server_gone) {
        if (client.options.freewheel)
            jack_set_freewheel(client.jack, 0);  // the server would go on, and refuse the next
        jack_client_close(client.jack);
    }
    _exit(EXIT_SUCCESS);  // a dead server leaves the library unable to end in order
}

}  // namespace

int main(int argc, char** argv) {
    return run(argc, argv);
}
