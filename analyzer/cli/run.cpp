#include "analyzer/cli/run.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <vector>

#include "analyzer/cli/command.hpp"

namespace coldtune::cli {
namespace {

std::string one_line(std::string text) {
    std::replace(text.begin(), text.end(), '\n', ' ');
    return text;
}

}  // namespace

int run(int argc, const char* const* argv, std::FILE* out, std::FILE* err) {
    Console console(out, err);
    CLI::App app("Measures a coil's resonance at signal level with an audio interface, beside the calculated value.",
                 "coldtune");
    app.set_version_flag("--version", std::string("coldtune ") + COLDTUNE_VERSION);
    app.require_subcommand(1);
    const std::vector<Command> commands = {add_predict(app), add_devices(app), add_stimulus(app), add_simulate(app),
                                           add_measure(app), add_analyze(app), add_loading(app),  add_combine(app),
                                           add_export(app),  add_report(app),  add_manual(app)};
    const auto named = [&](const Command& command) { return command.app->get_name() == argv[1]; };
    if (argc > 1 && argv[1][0] != '-' && std::none_of(commands.begin(), commands.end(), named)) {
        std::string names;
        for (const Command& command : commands) names += (names.empty() ? "" : ", ") + command.app->get_name();
        console.say(fmt::format("coldtune: there is no command '{}'; the commands are {}", one_line(argv[1]), names));
        return static_cast<int>(ExitCode::usage);
    }
    try {
        app.parse(argc, argv);
        for (const Command& command : commands) {
            if (command.app->parsed()) return static_cast<int>(command.run(console));
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
            if (command.app->parsed()) name += " " + command.app->get_name();
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
