// Other programs, started and watched by a test. None outlives it.
#pragma once

#include <sys/types.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

namespace coldtune::testing {

class Process {
public:
    // Starts `arguments[0]` (looked up on the path). Standard output comes back through read_line and everything_said,
    // standard error too if `error_file` is empty, else it goes into that file.
    Process(const std::vector<std::string>& arguments, const std::string& error_file = {});
    Process(const Process&) = delete;
    Process& operator=(const Process&) = delete;
    ~Process();  // SIGTERM, and SIGKILL a second later

    [[nodiscard]] pid_t pid() const { return pid_; }
    void signal(int number) const;
    // A line of standard output without its end; nullopt if none comes in time.
    std::optional<std::string> read_line(std::chrono::milliseconds limit);
    // The exit code, or -(number) of the signal that ended it; nullopt while it runs on after `limit`.
    std::optional<int> wait(std::chrono::milliseconds limit);
    // Valid after wait() returned a code.
    [[nodiscard]] const std::string& output() const { return output_; }
    [[nodiscard]] const std::string& errors() const { return errors_; }

private:
    bool read_more(std::chrono::milliseconds limit);
    pid_t pid_ = -1;
    int out_ = -1;
    int err_ = -1;
    std::string output_, errors_;
    std::size_t lines_read_ = 0;  // characters of output_ given out
    std::optional<int> code_;
};

struct Outcome {
    std::optional<int> code;  // as Process::wait
    std::string output, errors;
    double seconds = 0;
};

Outcome run(const std::vector<std::string>& arguments, std::chrono::milliseconds limit);

}  // namespace coldtune::testing
