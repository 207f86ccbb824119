// The manual page and the shell completion, made from the very objects that parse the command line: what a program
// accepts and what is written about it cannot drift apart.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace CLI {
class App;
}

namespace coldtune::cli {

// What a manual page says besides the options.
struct ManualText {
    std::string_view name;     // of the program
    std::string_view summary;  // one line, lower case, no full stop
    std::string_view version;
    std::string_view date;  // "2026-11-27"
    struct Section {
        std::string_view heading;
        std::span<const std::string_view> items;  // one paragraph each
    };
    std::span<const Section> sections;  // after the options
};

// A page for man(1) in the man(7) macros: synopsis, every command with every option, then the sections. ASCII.
std::string man_page(const CLI::App& app, const ManualText& text);

// For bash 4.4 or later: commands, options, the choices of an option, and files where an option takes one.
std::string bash_completion(const CLI::App& app, std::string_view program);

}  // namespace coldtune::cli
