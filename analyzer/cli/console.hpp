// What a command says and where: results on standard output, messages on standard error, one line each.
#pragma once

#include <cstdio>
#include <string>
#include <string_view>

#include "analyzer/measure/session.hpp"
#include "dsp/result.hpp"

namespace coldtune::cli {

// Exit codes of every command (contract).
enum class ExitCode : int { done = 0, usage = 2, bad_input = 3, rejected = 4, device = 5 };

ExitCode exit_code_of(ErrorKind kind);

class Console {
public:
    Console(std::FILE* out, std::FILE* err) : out_(out), err_(err) {}

    void print(std::string_view text) const;  // to standard output, as is
    void say(std::string_view line) const;    // one line to standard error
    [[nodiscard]] ExitCode fail(std::string_view command, const Error& error) const;
    void progress(const measure::SessionProgress& p);  // a live line on a terminal, a few lines otherwise
    void end_progress();

private:
    std::FILE* out_;
    std::FILE* err_;
    int last_step_ = 0;
    int last_quarter_ = -1;
    bool line_open_ = false;
};

}  // namespace coldtune::cli
