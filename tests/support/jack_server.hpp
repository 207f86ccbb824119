// A private JACK server with no hardware behind it, and the coil in front of it.
#pragma once

#include <chrono>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tests/support/process.hpp"
#include "tests/support/tape.hpp"

namespace coldtune::testing {

// First thing in main(), before any thread: gives this process and its children a /dev/shm of their own, where the
// system allows it, so that servers of tests that run side by side cannot meet; and points ALSA at an empty setup, so
// that a machine's sound hardware takes no part. Returns the folder for logs.
std::filesystem::path prepare_private_audio();

struct ServerOptions {
    int rate_hz = 192000;
    int period_frames = 1024;
    bool synchronous = true;  // each cycle waits for all clients: needed for freewheel, and exact
};

// For runs at real speed. Without real-time priority, which a test may not have, buffers of 1024 frames are late now
// and then on a busy machine; these last 21 ms at 192 kHz.
inline constexpr ServerOptions real_speed = {.rate_hz = 192000, .period_frames = 4096, .synchronous = false};
// Real speed too, but a late client delays the server in place of leaving a gap.
inline constexpr ServerOptions patient = {.rate_hz = 192000, .period_frames = 4096, .synchronous = true};

class JackServer {
public:
    // Starts `jackd` and makes it the one that children of this process find. Throws std::runtime_error with a sentence
    // if jackd is not installed. Ready when a client (JackCoil) says so.
    explicit JackServer(const ServerOptions& options);
    ~JackServer();  // SIGTERM: a killed server leaks its place in the registry

    [[nodiscard]] pid_t pid() const { return process_->pid(); }
    void kill() const;  // SIGKILL, as a crash
    [[nodiscard]] std::string log() const;

private:
    std::string name_;
    std::filesystem::path log_file_;
    bool mounted_ = false;  // a /dev/shm of its own
    std::unique_ptr<Process> process_;
};

// The coil client, ready once constructed; throws std::runtime_error with a sentence otherwise.
class JackCoil {
public:
    explicit JackCoil(const std::vector<std::string>& arguments);

    [[nodiscard]] const std::string& name() const { return name_; }
    [[nodiscard]] double rate_hz() const { return rate_hz_; }
    // The client's own design values: zero reactance at the foot and half-power Q of its sampled circuit.
    [[nodiscard]] double frequency_hz() const { return frequency_hz_; }
    [[nodiscard]] double q() const { return q_; }
    [[nodiscard]] Process& process() { return *process_; }
    // What arrived at its input, and when it misbehaved.
    [[nodiscard]] const Tape& tape() const { return *tape_; }

private:
    std::string name_;
    std::unique_ptr<Tape, Tape::Unmap> tape_;
    double rate_hz_ = 0, frequency_hz_ = 0, q_ = 0;
    std::unique_ptr<Process> process_;
};

}  // namespace coldtune::testing
