#include <CLI/CLI.hpp>
#include <array>
#include <csignal>
#include <cstdio>
#include <exception>
#include <string>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/bench/hookup.hpp"
#include "analyzer/cli/manual.hpp"
#include "analyzer/share/provenance.hpp"
#include "gui/window.hpp"

namespace {

int complain(const coldtune::Error& error) {
    // Where the error stream is closed there is nobody left to tell.
    (void)std::fprintf(stderr, "coldtune-window: %s\n", error.message.c_str());
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

// The manual page or the bash completion, for the package.
int print_manual(const CLI::App& cli, bool page) {
    using coldtune::cli::ManualText;
    static constexpr std::array<std::string_view, 1> see = {
        "coldtune(1), the same job in a terminal; F1 in the window."};
    const std::array<ManualText::Section, 3> sections = {
        {{"CAUTIONS", coldtune::bench::general_cautions()},
         {"BEFORE ANY POWER-UP", coldtune::bench::before_power_reminders()},
         {"SEE ALSO", see}}};
    const std::string date = coldtune::share::provenance_of("").written.substr(0, 10);
    const std::string text =
        page ? coldtune::cli::man_page(cli, {"coldtune-window", "the bench window: sweep a coil and see its resonance",
                                             COLDTUNE_VERSION, date, sections})
             : coldtune::cli::bash_completion(cli, "coldtune-window");
    const bool whole = std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0;
    if (!whole) return complain({coldtune::ErrorKind::bad_input, "the output takes no more; free some space"});
    return 0;
}

int run(int argc, char** argv) {
    // A file that may grow no further is an error like a full disk, told in a sentence, and no end without one.
    (void)std::signal(SIGXFSZ, SIG_IGN);
    if (const int child = coldtune::audio::run_audio_child_if_asked(argc, argv); child >= 0) return child;

    CLI::App cli{"The bench window: describe a coil, sweep it, see the measurement lie over the calculation."};
    std::string coil, script, settings, manual;
    double pace = 1;
    bool fresh = false;
    cli.add_option("COIL", coil, "a coil description (COIL.json) to begin with")->type_name("COIL.json");
    cli.add_flag("--fresh", fresh, "begin as on the first day, and remember nothing of this time");
    // The door for tests.
    cli.add_option("--script", script)->group("");
    cli.add_option("--settings", settings)->group("");
    cli.add_option("--pace", pace)->group("");
    // And for the package.
    cli.add_option("--manual", manual)->check(CLI::IsMember({"man", "bash"}))->group("");
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

    if (!manual.empty()) return print_manual(cli, manual == "man");

    namespace gui = coldtune::gui;
    gui::WindowOptions options;
    const auto path = settings.empty() ? gui::settings_path() : std::filesystem::path(settings);
    if (!fresh) {
        options.settings = path;
        options.remembered = gui::load_settings(path);
    }
    if (!fresh) options.state_folder = gui::state_folder();
    if (!coil.empty()) {
        // A new file needs a folder to lie in.
        const std::filesystem::path named(coil);
        std::error_code fault;
        const bool fresh_file = !std::filesystem::exists(named, fault) &&
                                std::filesystem::is_directory(std::filesystem::absolute(named).parent_path(), fault);
        auto document = fresh_file ? gui::new_document(named) : gui::open_document(named);
        if (!document) return complain(document.error());
        // What is typed for this very file goes on.
        if (auto& remembered = options.remembered.document; remembered.path != document->path) {
            remembered = std::move(*document);
        }
        if (fresh_file) options.notice = "New file " + options.remembered.document.path + ": Save writes it.";
    }
    if (!script.empty()) options.script = script;
    options.simulated_pace = pace;
    if (const auto status = gui::run_window(options); !status) return complain(status.error());
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    try {
        return run(argc, argv);
    } catch (const std::exception& e) {
        // Memory that ran out at the start, or a library's complaint: one line, and the status of an unknown fault.
        (void)std::fprintf(stderr, "coldtune-window: stopped by an unexpected fault: %s\n", e.what());
        return 1;
    }
}
