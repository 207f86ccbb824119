// Writes what the window remembers shortly after it changed, on a thread of its own: whatever ends the program then
// takes at most the last two seconds along.
#pragma once

#include <chrono>
#include <condition_variable>
#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <thread>

#include "gui/settings_file.hpp"

namespace coldtune::gui {

class Autosave {
public:
    using Steady = std::chrono::steady_clock;

    // Empty paths: nothing is kept there. `wake`: called from the writing thread when an outcome lies ready.
    Autosave(std::filesystem::path settings, std::filesystem::path state_folder, std::function<void()> wake);
    ~Autosave();
    Autosave(const Autosave&) = delete;
    Autosave& operator=(const Autosave&) = delete;

    // How things are now. The first call says what needs no writing. Hands it to the writer when it has rested for
    // kRest, or kMost after the first change that was not written. Never waits for a disk.
    void look(const Remembered& now, Steady::time_point at);
    // Until `look` has something to do; nullopt while there is nothing.
    [[nodiscard]] std::optional<Steady::duration> due_in(Steady::time_point at) const;
    // How the last write went, once.
    std::optional<Status> take_outcome();
    // The last one: waits for what is being written, then writes this.
    Status finish(const Remembered& last);

    static constexpr std::chrono::seconds kRest{2}, kMost{10};

private:
    void loop(const std::stop_token& quit);
    Status write(const Remembered& what) const;

    const std::filesystem::path settings_, state_folder_;
    const std::function<void()> wake_;
    std::optional<Remembered> seen_;
    std::optional<Steady::time_point> changed_at_, unwritten_since_;
    std::mutex mutex_;
    std::condition_variable_any work_;
    std::optional<Remembered> waiting_;
    std::optional<Status> outcome_;
    std::jthread writer_;
};

}  // namespace coldtune::gui
