#include "analyzer/cli/command.hpp"

#include <CLI/CLI.hpp>

namespace coldtune::cli {

CLI::Option* add_quantity(CLI::App& app, const std::string& name, double& value, record::Unit unit,
                          const std::string& help) {
    return app
        .add_option_function<std::string>(
            name,
            [&value, unit, name](const std::string& text) {
                const auto parsed = record::parse_quantity(text, unit);
                if (!parsed) throw CLI::ValidationError(name, parsed.error().message);
                value = *parsed;
            },
            help)
        ->type_name("VALUE");
}

CLI::Option* add_json_flag(CLI::App& app, bool& json) {
    return app.add_flag("--json", json, "Print one JSON object and nothing else");
}

}  // namespace coldtune::cli
