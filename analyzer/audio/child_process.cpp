#include "analyzer/audio/child_process.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <thread>
#include <utility>
#include <vector>

namespace coldtune::audio {
namespace {

constexpr std::size_t kept_words = 2000;

// posix_spawn's two argument objects, destroyed together.
struct SpawnPlan {
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    SpawnPlan() {
        posix_spawn_file_actions_init(&files);
        posix_spawnattr_init(&attributes);
    }
    SpawnPlan(const SpawnPlan&) = delete;
    SpawnPlan& operator=(const SpawnPlan&) = delete;
    ~SpawnPlan() {
        posix_spawn_file_actions_destroy(&files);
        posix_spawnattr_destroy(&attributes);
    }
};

}  // namespace

Result<ChildProcess> ChildProcess::start(std::string_view task, int shared_descriptor) {
    if (std::getenv(child_variable) != nullptr) {
        // Without this a main() that forgot its first call would start itself for ever.
        return device_error("this program was started as its own audio process but does not act as one");
    }
    std::array<int, 2> low = {-1, -1};
    if (pipe2(low.data(), O_CLOEXEC) != 0) {
        return device_error(fmt::format("cannot start the audio process: {}", std::strerror(errno)));
    }
    // High numbers, so that wiring up 0..3 below cannot overwrite them.
    const int read_end = fcntl(low[0], F_DUPFD_CLOEXEC, 10);
    const int write_end = fcntl(low[1], F_DUPFD_CLOEXEC, 10);
    close(low[0]);
    close(low[1]);
    fcntl(read_end, F_SETFL, O_NONBLOCK);

    SpawnPlan plan;
    posix_spawn_file_actions_addopen(&plan.files, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&plan.files, 1, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_adddup2(&plan.files, write_end, 2);
    posix_spawn_file_actions_adddup2(&plan.files, shared_descriptor, child_descriptor);
    posix_spawn_file_actions_addclosefrom_np(&plan.files, child_descriptor + 1);
    sigset_t signals;
    sigemptyset(&signals);
    posix_spawnattr_setsigmask(&plan.attributes, &signals);
    sigfillset(&signals);
    posix_spawnattr_setsigdefault(&plan.attributes, &signals);
    posix_spawnattr_setflags(&plan.attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);

    std::string name = "coldtune-audio";
    std::string argument(child_argument);
    std::string task_text(task);
    std::string parent = std::to_string(getpid());
    std::array<char*, 5> arguments = {name.data(), argument.data(), task_text.data(), parent.data(), nullptr};
    std::string marker = fmt::format("{}=1", child_variable);
    std::vector<char*> environment;
    for (char** entry = environ; *entry != nullptr; ++entry) environment.push_back(*entry);
    environment.push_back(marker.data());
    environment.push_back(nullptr);

    pid_t pid = -1;
    const int failure =
        posix_spawn(&pid, "/proc/self/exe", &plan.files, &plan.attributes, arguments.data(), environment.data());
    close(write_end);
    if (failure != 0) {
        close(read_end);
        return device_error(fmt::format("cannot start the audio process ({}): is /proc mounted, is memory free?",
                                        std::strerror(failure)));
    }
    return ChildProcess(pid, read_end);
}

ChildProcess::ChildProcess(ChildProcess&& other) noexcept
    : pid_(std::exchange(other.pid_, -1)),
      errors_(std::exchange(other.errors_, -1)),
      ended_(std::exchange(other.ended_, true)),
      status_(other.status_),
      last_words_(std::move(other.last_words_)) {}

ChildProcess::~ChildProcess() {
    kill();
    if (errors_ >= 0) close(errors_);
}

void ChildProcess::drain() {
    std::array<char, 4096> buffer;
    while (errors_ >= 0) {
        const ssize_t got = read(errors_, buffer.data(), buffer.size());
        if (got > 0) {
            last_words_.append(buffer.data(), static_cast<std::size_t>(got));
            if (last_words_.size() > kept_words) last_words_.erase(0, last_words_.size() - kept_words);
        } else if (got == 0) {
            close(errors_);
            errors_ = -1;
        } else if (errno != EINTR) {
            return;
        }
    }
}

bool ChildProcess::reap(bool block) {
    if (ended_ || pid_ <= 0) return true;
    int status = 0;
    pid_t got = 0;
    do {
        got = waitpid(pid_, &status, block ? 0 : WNOHANG);
    } while (got < 0 && errno == EINTR);
    if (got == pid_) status_ = status;
    ended_ = got == pid_ || got < 0;  // < 0: the program ignores SIGCHLD and the system reaped it for us
    return ended_;
}

bool ChildProcess::ended_within(std::chrono::milliseconds limit) {
    const auto end = std::chrono::steady_clock::now() + limit;
    while (!reap(false)) {
        const auto left = std::chrono::ceil<std::chrono::milliseconds>(end - std::chrono::steady_clock::now());
        if (left.count() <= 0) return false;
        if (errors_ >= 0) {
            // The pipe closes when the child ends, and wakes us.
            pollfd watched = {errors_, POLLIN, 0};
            poll(&watched, 1, static_cast<int>(left.count()));
            drain();
        } else {
            std::this_thread::sleep_for(std::min(left, std::chrono::milliseconds(1)));
        }
    }
    drain();
    return true;
}

void ChildProcess::kill() {
    if (ended_ || pid_ <= 0) return;
    ::kill(pid_, SIGKILL);
    reap(true);
    drain();
}

std::string ChildProcess::epitaph() const {
    std::string text;
    if (!status_) {
        text = "ended";
    } else if (WIFSIGNALED(*status_)) {
        text = fmt::format("was ended by signal {}", WTERMSIG(*status_));
    } else {
        text = fmt::format("ended with code {}", WEXITSTATUS(*status_));
    }
    std::string words = last_words_;
    while (!words.empty() && words.back() == '\n') words.pop_back();
    words = words.substr(words.rfind('\n') + 1);
    std::erase_if(words, [](char c) { return static_cast<unsigned char>(c) < 0x20; });
    if (!words.empty()) text += fmt::format(", saying '{}'", words);
    return text;
}

}  // namespace coldtune::audio
