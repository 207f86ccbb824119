// The command line called from a test, and what it said.
#pragma once

#include <algorithm>
#include <cstdio>
#include <string>
#include <vector>

#include "analyzer/cli/run.hpp"

namespace coldtune::testing {

struct Said {
    int code = -1;
    std::string out, err;
    [[nodiscard]] std::ptrdiff_t error_lines() const { return std::count(err.begin(), err.end(), '\n'); }
};

inline std::string all_of(std::FILE* file) {
    std::string text;
    std::rewind(file);
    for (int c = std::fgetc(file); c != EOF; c = std::fgetc(file)) text += static_cast<char>(c);
    std::fclose(file);
    return text;
}

inline Said coldtune(const std::vector<std::string>& arguments) {
    std::vector<const char*> argv = {"coldtune"};
    for (const std::string& a : arguments) argv.push_back(a.c_str());
    std::FILE* out = std::tmpfile();
    std::FILE* err = std::tmpfile();
    Said said;
    said.code = cli::run(static_cast<int>(argv.size()), argv.data(), out, err);
    said.out = all_of(out);
    said.err = all_of(err);
    return said;
}

}  // namespace coldtune::testing
