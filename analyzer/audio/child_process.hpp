// Starting, watching and ending the audio child: this very program run again with a hidden first argument.
#pragma once

#include <sys/types.h>

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::audio {

// First argument and environment variable that together make a process the audio child; one alone does not.
inline constexpr std::string_view child_argument = "--audio-child";
inline constexpr const char* child_variable = "COLDTUNE_AUDIO_CHILD";
// Where the child finds its shared memory.
inline constexpr int child_descriptor = 3;

class ChildProcess {
public:
    // Runs /proc/self/exe as `child_argument TASK PARENT-PID` with `shared_descriptor` as descriptor 3, standard input
    // and output on /dev/null, standard error on a pipe read here. Errors (device): the program cannot be started
    // again, or it is itself an audio child, which happens only if its main() does not call run_audio_child_if_asked.
    static Result<ChildProcess> start(std::string_view task, int shared_descriptor);

    ChildProcess(ChildProcess&& other) noexcept;
    ChildProcess& operator=(ChildProcess&&) = delete;
    ~ChildProcess();  // kills and reaps what still runs

    // Waits at most `limit`; true once the child has ended (and has been reaped). Wakes up early when the child ends.
    bool ended_within(std::chrono::milliseconds limit);
    void kill();  // at once; returns with the child reaped

    // How it ended and the last line it said, for a message; meaningful once it has ended.
    [[nodiscard]] std::string epitaph() const;

private:
    ChildProcess(pid_t pid, int errors) noexcept : pid_(pid), errors_(errors) {}
    void drain();
    bool reap(bool block);

    pid_t pid_ = -1;
    int errors_ = -1;  // read end of the child's standard error; -1 once it is closed
    bool ended_ = false;
    std::optional<int> status_;  // from waitpid; nullopt if somebody else reaped it
    std::string last_words_;
};

}  // namespace coldtune::audio
