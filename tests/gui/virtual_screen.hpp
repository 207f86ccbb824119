// A display nobody looks at, and a folder of its own for what the window remembers.
#pragma once

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>

#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::testing {

class VirtualScreen {
public:
    // Starts Xvfb and points this process's children at it; throws with a sentence if that fails.
    explicit VirtualScreen(const std::filesystem::path& folder)
        // The server chooses a free number and says it; it is ready when it has.
        : server_({"Xvfb", "-displayfd", "1", "-screen", "0", "2600x1500x24", "-nolisten", "tcp", "-noreset"},
                  (folder / "server").string()) {
        const auto number = server_.read_line(std::chrono::seconds(20));
        if (!number) throw std::runtime_error("Xvfb did not start: " + bytes_of(folder / "server"));
        setenv("DISPLAY", (":" + *number).c_str(), 1);
        setenv("XDG_CONFIG_HOME", (folder / "config").c_str(), 1);
        setenv("XDG_STATE_HOME", (folder / "state").c_str(), 1);
        // Software drawing on every core would starve the sweep on the few that tests run on.
        setenv("LP_NUM_THREADS", "1", 1);
    }

private:
    Process server_;
};

}  // namespace coldtune::testing
