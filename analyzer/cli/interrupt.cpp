#include "analyzer/cli/interrupt.hpp"

#include <poll.h>
#include <unistd.h>

#include <atomic>
#include <csignal>

namespace coldtune::cli {
namespace {

std::atomic<bool> raised{false};
static_assert(std::atomic<bool>::is_always_lock_free);
void on_signal(int) {
    raised = true;
}

}  // namespace

InterruptGuard::InterruptGuard()
    : old_int_(std::signal(SIGINT, on_signal)),
      old_term_(std::signal(SIGTERM, on_signal)),
      old_hangup_(std::signal(SIGHUP, on_signal)) {
    raised = false;
}

InterruptGuard::~InterruptGuard() {
    (void)std::signal(SIGINT, old_int_);
    (void)std::signal(SIGTERM, old_term_);
    (void)std::signal(SIGHUP, old_hangup_);
}

bool interrupted() {
    return raised;
}

bool wait_for_enter() {
    constexpr int kLook_ms = 100;  // for an interrupt
    while (!raised) {
        pollfd input{STDIN_FILENO, POLLIN, 0};
        if (poll(&input, 1, kLook_ms) <= 0) continue;
        // Byte by byte and unbuffered: what follows the line belongs to the next question.
        char byte = 0;
        if (read(STDIN_FILENO, &byte, 1) != 1) return false;
        if (byte == '\n') return true;
    }
    return false;
}

}  // namespace coldtune::cli
