// SIGTERM, SIGINT and SIGHUP as a wish to end, so that the window can save before it goes.
#pragma once

#include <functional>
#include <thread>

namespace coldtune::gui {

// One at a time in a process. While it lives those signals end nothing; afterwards they do what they did before.
class EndSignals {
public:
    // `wake`: called from a thread of its own when a signal has come.
    explicit EndSignals(std::function<void()> wake);
    ~EndSignals();
    EndSignals(const EndSignals&) = delete;
    EndSignals& operator=(const EndSignals&) = delete;

    [[nodiscard]] static bool asked();

private:
    std::thread watcher_;
};

}  // namespace coldtune::gui
