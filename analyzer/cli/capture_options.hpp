// The options of a capture and its analysis: `analyze` and `book add` share them.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include "analyzer/cli/bench_options.hpp"

namespace coldtune::cli {

struct CaptureOptions {
    std::string capture_path;
    BenchOptions bench;
    std::optional<std::size_t> period, settle;
    std::string shorted_path;
};

// CAPTURE, the bench, --period, --settle and --shorted.
void add_capture_options(CLI::App& app, CaptureOptions& options);

}  // namespace coldtune::cli
