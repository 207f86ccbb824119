// Ctrl-C during a sweep: noticed by the sweep's own loop, which ends the sound properly.
#pragma once

namespace coldtune::cli {

// While one lives, SIGINT, SIGTERM and SIGHUP (the terminal was closed) only raise a flag.
class InterruptGuard {
public:
    InterruptGuard();  // lowers the flag
    ~InterruptGuard();
    InterruptGuard(const InterruptGuard&) = delete;
    InterruptGuard& operator=(const InterruptGuard&) = delete;

private:
    void (*old_int_)(int);
    void (*old_term_)(int);
    void (*old_hangup_)(int);
};

bool interrupted();

// Waits for the Enter key (a line on standard input). False: interrupted, or standard input has ended.
bool wait_for_enter();

}  // namespace coldtune::cli
