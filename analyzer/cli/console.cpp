#include "analyzer/cli/console.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>

namespace coldtune::cli {

ExitCode exit_code_of(ErrorKind kind) {
    switch (kind) {
        case ErrorKind::usage:
            return ExitCode::usage;
        case ErrorKind::bad_input:
            return ExitCode::bad_input;
        case ErrorKind::rejected:
            return ExitCode::rejected;
        case ErrorKind::device:
            return ExitCode::device;
    }
    return ExitCode::bad_input;
}

// A stream that takes no more keeps its error: run() looks at it once, at the end.
void Console::print(std::string_view text) const {
    (void)std::fwrite(text.data(), 1, text.size(), out_);
    (void)std::fflush(out_);
}

void Console::say(std::string_view line) const {
    (void)std::fwrite(line.data(), 1, line.size(), err_);
    (void)std::fputc('\n', err_);
    (void)std::fflush(err_);
}

ExitCode Console::fail(std::string_view command, const Error& error) const {
    // One line, whatever a library may have put into the message.
    std::string line = error.message;
    std::replace(line.begin(), line.end(), '\n', ' ');
    say(fmt::format("coldtune {}: {}", command, line));
    return exit_code_of(error.kind);
}

void Console::progress(const measure::SessionProgress& p) {
    if (isatty(fileno(err_)) != 0) {
        constexpr int kWidth = 24;
        const int filled = static_cast<int>(std::lround(std::clamp(p.fraction, 0.0, 1.0) * kWidth));
        const std::string bar = std::string(static_cast<std::size_t>(filled), '#') +
                                std::string(static_cast<std::size_t>(kWidth - filled), '.');
        fmt::print(err_, "\r{} {}/{} {} {:4.1f} s left  inputs {:6.3f} {:6.3f} ", p.what, p.step, p.steps, bar,
                   std::max(0.0, p.seconds_left), p.peak_generator, p.peak_coil);
        (void)std::fflush(err_);
        line_open_ = true;
        return;
    }
    const int quarter = static_cast<int>(std::clamp(p.fraction, 0.0, 1.0) * 4);
    if (p.step == last_step_ && quarter <= last_quarter_) return;
    last_step_ = p.step;
    last_quarter_ = quarter;
    say(fmt::format("{} {}/{}: {} %", p.what, p.step, p.steps, quarter * 25));
}

void Console::end_progress() {
    if (line_open_) (void)std::fputc('\n', err_);
    line_open_ = false;
}

}  // namespace coldtune::cli
