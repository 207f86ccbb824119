// A Python interpreter that has numpy and scipy. The first python3 on the path may be one without.
#pragma once

#include <cstdlib>
#include <string>
#include <vector>

#include "tests/support/process.hpp"

namespace coldtune::testing {

// Its path, or "" when there is none: the test then fails with no_scipy_python. COLDTUNE_PYTHON is tried first.
inline std::string scipy_python() {
    std::vector<std::string> candidates;
    if (const char* named = std::getenv("COLDTUNE_PYTHON"); named != nullptr && *named != '\0') {
        candidates.emplace_back(named);
    }
    candidates.insert(candidates.end(), {"/usr/bin/python3", "python3", "/usr/local/bin/python3", "python"});
    for (const std::string& candidate : candidates) {
        const Outcome tried =
            run({candidate, "-c", "import numpy, scipy.io.wavfile, scipy.signal"}, std::chrono::milliseconds(60000));
        if (tried.code == 0) return candidate;
    }
    return {};
}

inline constexpr const char* no_scipy_python =
    "no Python interpreter imports numpy and scipy; install python3-numpy and python3-scipy, or name one in "
    "COLDTUNE_PYTHON";

}  // namespace coldtune::testing
