#include <CLI/CLI.hpp>
#include <cstdio>
#include <string>

#include "analyzer/audio/audio_port.hpp"
#include "gui/window.hpp"

namespace {

int complain(const coldtune::Error& error) {
    std::fprintf(stderr, "coldtune-window: %s\n", error.message.c_str());
    switch (error.kind) {
        case coldtune::ErrorKind::usage:
            return 2;
        case coldtune::ErrorKind::bad_input:
            return 3;
        case coldtune::ErrorKind::rejected:
            return 4;
        case coldtune::ErrorKind::device:
            return 5;
    }
    return 1;
}

}  // namespace

int main(int argc, char** argv) {
    if (const int child = coldtune::audio::run_audio_child_if_asked(argc, argv); child >= 0) return child;

    CLI::App cli{"The bench window: describe a coil, sweep it, see the measurement lie over the calculation."};
    std::string coil, script, settings;
    double pace = 1;
    bool fresh = false;
    cli.add_option("COIL", coil, "a coil description (COIL.json) to begin with")->type_name("");
    cli.add_flag("--fresh", fresh, "begin as on the first day, and remember nothing of this time");
    // The door for tests.
    cli.add_option("--script", script)->group("");
    cli.add_option("--settings", settings)->group("");
    cli.add_option("--pace", pace)->group("");
    cli.set_version_flag("--version", "coldtune-window " COLDTUNE_VERSION);
    try {
        cli.parse(argc, argv);
    } catch (const CLI::CallForHelp& e) {
        return cli.exit(e);
    } catch (const CLI::CallForVersion& e) {
        return cli.exit(e);
    } catch (const CLI::ParseError& e) {
        return complain(coldtune::usage_error(std::string(e.what()) + "; see --help"));
    }

    namespace gui = coldtune::gui;
    gui::WindowOptions options;
    const auto path = settings.empty() ? gui::settings_path() : std::filesystem::path(settings);
    if (!fresh) {
        options.settings = path;
        options.remembered = gui::load_settings(path);
    }
    if (!coil.empty()) {
        auto form = gui::load_form(coil);
        if (!form) return complain(form.error());
        options.remembered.coil = std::move(*form);
        options.remembered.coil_path = coil;
    }
    if (!script.empty()) options.script = script;
    options.simulated_pace = pace;
    if (const auto status = gui::run_window(options); !status) return complain(status.error());
    return 0;
}
