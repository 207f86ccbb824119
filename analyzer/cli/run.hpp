// The command line as a function, so that tests can call it.
#pragma once

#include <cstdio>

namespace coldtune::cli {

// Parses, runs, returns the exit code. Never throws.
int run(int argc, const char* const* argv, std::FILE* out, std::FILE* err);

}  // namespace coldtune::cli
