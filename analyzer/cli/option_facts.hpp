// What the manual and the completion need to know of an option, taken from the parser's own object.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace coldtune::cli {

struct OptionFacts {
    std::vector<std::string> names;    // "--help", "-h"; of a positional its name alone
    std::string value;                 // what it takes: "FILE"; empty for a flag
    std::vector<std::string> choices;  // where only these are taken
    std::string help;
    bool positional = false, required = false, repeated = false, takes_file = false;
};

// Options a user is meant to see, in the order they were added; without commands.
std::vector<OptionFacts> options_of(const CLI::App& app);

// Commands a user is meant to see.
std::vector<const CLI::App*> commands_of(const CLI::App& app);

}  // namespace coldtune::cli
