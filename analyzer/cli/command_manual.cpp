// coldtune manual: the manual page and the shell completion.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <array>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/manual.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/share/provenance.hpp"

namespace coldtune::cli {
namespace {

struct ManualOptions {
    bool man = false;
    std::string completion;
    bool json = false;
};

constexpr std::array<std::string_view, 2> kValues = {
    "A VALUE is an SI number or a quantity as people write it: 10k, 4.7n, 4n7 (IEC 60062), 0.45mm, 20cm, AWG 26, 1%.",
    "A COIL.json describes the coil; the keys are explained in coldtune's README."};
constexpr std::array<std::string_view, 1> kExit = {
    "0 done; 2 usage; 3 bad input; 4 rejected measurement; 5 device fault. Messages go to standard error, one line "
    "each; "
    "with --json one object goes to standard output and nothing else."};
constexpr std::array<std::string_view, 1> kSee = {"coldtune-window(1), the same job in a window."};

std::string page(const CLI::App& root) {
    const std::array<ManualText::Section, 5> sections = {{{"VALUES", kValues},
                                                          {"EXIT STATUS", kExit},
                                                          {"CAUTIONS", bench::general_cautions()},
                                                          {"BEFORE ANY POWER-UP", bench::before_power_reminders()},
                                                          {"SEE ALSO", kSee}}};
    const std::string date = share::provenance_of("").written.substr(0, 10);
    return man_page(root, {"coldtune", "measure a coil's resonance at signal level with an audio interface",
                           COLDTUNE_VERSION, date, sections});
}

ExitCode manual(const CLI::App& root, const ManualOptions& o, Console& console) {
    if (o.man == !o.completion.empty()) {
        return console.fail("manual", usage_error("give one of --man and --completion bash"));
    }
    const std::string text = o.man ? page(root) : bash_completion(root, "coldtune");
    if (o.json) {
        record::Json j;
        j["schema"] = "coldtune.manual.v1";
        j["program_version"] = COLDTUNE_VERSION;
        j["kind"] = o.man ? "man" : "completion";
        j["text"] = text;
        console.print(record::json_text(j) + "\n");
    } else {
        console.print(text);
    }
    return ExitCode::done;
}

}  // namespace

Command add_manual(CLI::App& root) {
    auto o = std::make_shared<ManualOptions>();
    CLI::App* app = root.add_subcommand("manual", "Print the manual page or the shell completion");
    app->add_flag("--man", o->man, "The manual page, for man -l or a folder named man1");
    app->add_option("--completion", o->completion, "The completion for a shell")
        ->check(CLI::IsMember({"bash"}))
        ->type_name("SHELL");
    add_json_flag(*app, o->json);
    return {app, [o, &root](Console& console) { return manual(root, *o, console); }};
}

}  // namespace coldtune::cli
