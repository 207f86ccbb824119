// A command: its options on the parser and what runs when it is chosen.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "analyzer/cli/console.hpp"
#include "analyzer/record/quantity.hpp"

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace coldtune::cli {

struct Command {
    CLI::App* app = nullptr;
    std::function<ExitCode(Console&)> run;
};

// One function per command, one file each; they add themselves to `root`.
Command add_predict(CLI::App& root);
Command add_devices(CLI::App& root);
Command add_stimulus(CLI::App& root);
Command add_simulate(CLI::App& root);
Command add_measure(CLI::App& root);
Command add_follow(CLI::App& root);
Command add_analyze(CLI::App& root);
Command add_loading(CLI::App& root);
Command add_combine(CLI::App& root);
Command add_compare(CLI::App& root);
Command add_tune(CLI::App& root);
Command add_book(CLI::App& root);
Command add_exchange(CLI::App& root);
Command add_export(CLI::App& root);
Command add_report(CLI::App& root);
Command add_manual(CLI::App& root);

// An option that takes a quantity ("10k"): checked when the command line is parsed, so that a slip is a usage error
// that names the option and points at the character.
CLI::Option* add_quantity(CLI::App& app, const std::string& name, double& value, record::Unit unit,
                          const std::string& help);

// Adds --json with the same words everywhere.
CLI::Option* add_json_flag(CLI::App& app, bool& json);

}  // namespace coldtune::cli
