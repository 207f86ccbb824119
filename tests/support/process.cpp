#include "tests/support/process.hpp"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <stdexcept>
#include <thread>

namespace coldtune::testing {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;

Process::Process(const std::vector<std::string>& arguments, const std::string& error_file) {
    std::vector<std::string> texts = arguments;
    std::vector<char*> pointers;
    for (std::string& text : texts) pointers.push_back(text.data());
    pointers.push_back(nullptr);
    std::array<int, 2> out = {};
    std::array<int, 2> err = {};
    if (pipe2(out.data(), O_CLOEXEC) != 0 || pipe2(err.data(), O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
    const pid_t parent = getpid();
    pid_ = fork();
    if (pid_ == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        if (getppid() != parent) _exit(126);
        dup2(out[1], 1);
        if (error_file.empty()) {
            dup2(err[1], 2);
        } else {
            dup2(open(error_file.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600), 2);
        }
        execvp(pointers[0], pointers.data());
        static constexpr char text[] = "cannot be started\n";
        if (write(2, text, sizeof text - 1) < 0) _exit(126);
        _exit(127);
    }
    close(out[1]);
    close(err[1]);
    out_ = out[0];
    err_ = err[0];
    if (pid_ < 0) throw std::runtime_error("no fork");
}

Process::~Process() {
    if (!code_) {
        signal(SIGTERM);
        if (!wait(milliseconds(1000))) {
            signal(SIGKILL);
            wait(milliseconds(5000));
        }
    }
    if (out_ >= 0) close(out_);
    if (err_ >= 0) close(err_);
}

void Process::signal(int number) const {
    if (!code_) ::kill(pid_, number);
}

// Takes in what has arrived on either pipe; false if both are closed.
bool Process::read_more(milliseconds limit) {
    std::array<pollfd, 2> watched = {{{out_, POLLIN, 0}, {err_, POLLIN, 0}}};
    poll(watched.data(), watched.size(), static_cast<int>(limit.count()));
    std::array<char, 65536> buffer = {};
    const auto take = [&](const pollfd& entry, int& descriptor, std::string& text) {
        if (entry.revents == 0) return;
        const ssize_t got = read(descriptor, buffer.data(), buffer.size());
        if (got > 0) {
            text.append(buffer.data(), static_cast<std::size_t>(got));
        } else if (got == 0) {
            close(descriptor);
            descriptor = -1;
        }
    };
    take(watched[0], out_, output_);
    take(watched[1], err_, errors_);
    return out_ >= 0 || err_ >= 0;
}

std::optional<std::string> Process::read_line(milliseconds limit) {
    const auto end = Clock::now() + limit;
    while (true) {
        const std::size_t line_end = output_.find('\n', lines_read_);
        if (line_end != std::string::npos) {
            const std::string line = output_.substr(lines_read_, line_end - lines_read_);
            lines_read_ = line_end + 1;
            return line;
        }
        if (Clock::now() >= end || !read_more(milliseconds(20))) return std::nullopt;
    }
}

std::optional<int> Process::wait(milliseconds limit) {
    const auto end = Clock::now() + limit;
    while (!code_) {
        int status = 0;
        const pid_t got = waitpid(pid_, &status, WNOHANG);
        if (got == pid_) {
            code_ = WIFSIGNALED(status) ? -WTERMSIG(status) : WEXITSTATUS(status);
            break;
        }
        if (Clock::now() >= end) return std::nullopt;
        if (!read_more(milliseconds(5))) std::this_thread::sleep_for(milliseconds(1));
    }
    // What was still in the pipes; a grandchild that holds one open does not hold us up.
    const auto patience = Clock::now() + milliseconds(200);
    while (Clock::now() < patience && read_more(milliseconds(5))) {
    }
    return code_;
}

Outcome run(const std::vector<std::string>& arguments, milliseconds limit) {
    const auto begin = Clock::now();
    Process process(arguments);
    Outcome outcome;
    outcome.code = process.wait(limit);
    outcome.seconds = std::chrono::duration<double>(Clock::now() - begin).count();
    if (!outcome.code) {
        process.signal(SIGKILL);
        process.wait(milliseconds(5000));
    }
    outcome.output = process.output();
    outcome.errors = process.errors();
    return outcome;
}

}  // namespace coldtune::testing
