// A command run inside the test, its output caught.
#pragma once

#include <cstdio>
#include <string>
#include <vector>

#include "analyzer/cli/run.hpp"

namespace coldtune::test {

struct CliRun {
    int code = 0;
    std::string out, err;
};

inline CliRun run_cli(const std::vector<std::string>& arguments) {
    std::vector<const char*> argv = {"coldtune"};
    for (const std::string& a : arguments) argv.push_back(a.c_str());
    std::FILE* out = std::tmpfile();
    std::FILE* err = std::tmpfile();
    CliRun ran;
    ran.code = cli::run(static_cast<int>(argv.size()), argv.data(), out, err);
    const auto text = [](std::FILE* file) {
        std::rewind(file);
        std::string all;
        for (int c = std::fgetc(file); c != EOF; c = std::fgetc(file)) all.push_back(static_cast<char>(c));
        std::fclose(file);
        return all;
    };
    ran.out = text(out);
    ran.err = text(err);
    return ran;
}

}  // namespace coldtune::test
