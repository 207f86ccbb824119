#include "gui/end_signals.hpp"

#include <fcntl.h>
#include <signal.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cerrno>

namespace coldtune::gui {
namespace {

constexpr std::array kSignals = {SIGTERM, SIGINT, SIGHUP};

std::atomic<bool> end_asked = false;
static_assert(std::atomic<bool>::is_always_lock_free, "set in a signal handler");
// From the handler, which may call nothing but write, to the thread that may call the window system. -1 = closed.
std::atomic<int> wake_end = -1;
std::array<struct sigaction, kSignals.size()> before;

void on_signal(int) {
    const int kept_errno = errno;
    end_asked = true;
    const char byte = 's';
    [[maybe_unused]] const auto written = write(wake_end, &byte, 1);
    errno = kept_errno;
}

}  // namespace

EndSignals::EndSignals(std::function<void()> wake) {
    std::array<int, 2> ends{-1, -1};
    // Without a pipe the flag alone must do: the loop looks at it whenever it wakes.
    if (pipe2(ends.data(), O_CLOEXEC) == 0) {
        wake_end = ends[1];
        watcher_ = std::thread([wake = std::move(wake), from = ends[0]] {
            char byte = 0;
            while (true) {
                const auto got = ::read(from, &byte, 1);
                if (got < 0 && errno == EINTR) continue;
                if (got <= 0 || byte != 's') break;
                wake();
            }
            close(from);
        });
    }
    struct sigaction action = {};
    action.sa_handler = on_signal;
    action.sa_flags = SA_RESTART;
    sigemptyset(&action.sa_mask);
    for (std::size_t k = 0; k < kSignals.size(); ++k) {
        sigaction(kSignals[k], nullptr, &before[k]);
        // One that is ignored (nohup) stays so.
        if (before[k].sa_handler != SIG_IGN) sigaction(kSignals[k], &action, nullptr);
    }
}

EndSignals::~EndSignals() {
    for (std::size_t k = 0; k < kSignals.size(); ++k) sigaction(kSignals[k], &before[k], nullptr);
    const int end = wake_end.exchange(-1);
    if (end < 0) return;
    const char byte = 'q';
    [[maybe_unused]] const auto written = write(end, &byte, 1);
    watcher_.join();
    close(end);
}

bool EndSignals::asked() {
    return end_asked;
}

}  // namespace coldtune::gui
