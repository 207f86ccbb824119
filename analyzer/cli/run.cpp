#include "analyzer/cli/run.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <optional>
#include <vector>

#include "analyzer/cli/command.hpp"

namespace coldtune::cli {
namespace {

std::string one_line(std::string text) {
    std::replace(text.begin(), text.end(), '\n', ' ');
    return text;
}

// The library would only miss the command it knows.
std::optional<std::string> unknown_command(const CLI::App& app, int argc, const char* const* argv) {
    const CLI::App* above = &app;
    std::string name = "coldtune";
    for (int i = 1; i < argc && argv[i][0] != '-'; ++i) {
        const auto commands = above->get_subcommands([](const CLI::App*) { return true; });
        if (commands.empty()) return std::nullopt;
        std::string names;
        const CLI::App* chosen = nullptr;
        for (const CLI::App* command : commands) {
            names += (names.empty() ? "" : ", ") + command->get_name();
            if (command->get_name() == argv[i]) chosen = command;
        }
        if (chosen == nullptr) {
            return fmt::format("{}: there is no command '{}'; the commands are {}", name, one_line(argv[i]), names);
        }
        name += " " + chosen->get_name();
        above = chosen;
    }
    return std::nullopt;
}

}  // namespace

int run(int argc, const char* const* argv, std::FILE* out, std::FILE* err) {
    Console console(out, err);
    CLI::App app("Measures a coil's resonance at signal level with an audio interface, beside the calculated value.",
                 "coldtune");
    app.set_version_flag("--version", std::string("coldtune ") + COLDTUNE_VERSION);
    app.require_subcommand(1);
    const std::vector<Command> commands = {add_predict(app), add_devices(app), add_stimulus(app), add_simulate(app),
                                           add_measure(app), add_follow(app),  add_analyze(app),  add_loading(app),
                                           add_combine(app), add_compare(app), add_tune(app),     add_exchange(app),
                                           add_book(app),    add_export(app),  add_report(app),   add_manual(app)};
    if (const auto sentence = unknown_command(app, argc, argv)) {
        console.say(*sentence);
        return static_cast<int>(ExitCode::usage);
    }
    try {
        app.parse(argc, argv);
        for (const Command& command : commands) {
            if (!command.app->parsed()) continue;
            const ExitCode code = command.run(console);
            // A full disk behind a pipe must not pass for a result.
            if (std::fflush(out) != 0 || std::ferror(out) != 0) {
                console.say(
                    fmt::format("coldtune {}: standard output cannot be written in full; free the disk, or read to its "
                                "end where it is piped",
                                command.app->get_name()));
                return static_cast<int>(ExitCode::bad_input);
            }
            return static_cast<int>(code);
        }
    } catch (const CLI::CallForHelp&) {
        for (const Command& command : commands) {
            if (command.app->parsed()) {
                console.print(command.app->help());
                return 0;
            }
        }
        console.print(app.help());
        return 0;
    } catch (const CLI::CallForVersion&) {
        console.print(fmt::format("coldtune {}\n", COLDTUNE_VERSION));
        return 0;
    } catch (const CLI::ParseError& e) {
        std::string name = "coldtune";
        for (const Command& command : commands) {
            if (!command.app->parsed()) continue;
            name += " " + command.app->get_name();
            for (const CLI::App* below : command.app->get_subcommands()) name += " " + below->get_name();
        }
        console.say(fmt::format("{}: {}; see {} --help", name, one_line(e.what()), name));
        return static_cast<int>(ExitCode::usage);
    } catch (const std::bad_alloc&) {
        console.say("coldtune: out of memory; use a shorter capture or close other programs");
        return static_cast<int>(ExitCode::bad_input);
    } catch (const std::exception& e) {
        // Cannot happen; if it does, it must not look like a result.
        console.say(
            fmt::format("coldtune: internal fault: {}; please report it with the command used", one_line(e.what())));
        return static_cast<int>(ExitCode::bad_input);
    }
    return static_cast<int>(ExitCode::usage);
}

}  // namespace coldtune::cli
