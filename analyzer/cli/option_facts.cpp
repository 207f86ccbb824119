#include "analyzer/cli/option_facts.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>

namespace coldtune::cli {
namespace {

// "NAME:{a,b}" holds the choices behind the name; "UINT:INT in [2 - 9]" a range.
void read_type(const std::string& type, OptionFacts& facts) {
    facts.value = type.substr(0, type.find(':'));
    const auto open = type.find(":{");
    if (open != std::string::npos && type.back() == '}') {
        facts.choices = CLI::detail::split(type.substr(open + 2, type.size() - open - 3), ',');
    } else if (type.find(":INT in") != std::string::npos) {
        // "[2 - 9]" as words.
        std::string range = type.substr(type.find('[') + 1);
        range.resize(std::min(range.size(), range.find(']')));
        const auto dash = range.find(" - ");
        if (dash != std::string::npos) range.replace(dash, 3, " to ");
        facts.help += " (" + range + ")";
    }
    // "LOW:HIGH" is a name with a colon, no name with a check behind it.
    if (facts.choices.empty() && type.find(":INT") == std::string::npos) facts.value = type;
    facts.takes_file = facts.value == "FILE" || facts.value == "CAPTURE" ||
                       facts.value.find(".json") != std::string::npos || facts.value.find(".html") != std::string::npos;
}

OptionFacts facts_of(const CLI::Option& option) {
    OptionFacts facts;
    facts.help = option.get_description();
    facts.positional = option.get_positional();
    facts.required = option.get_required();
    facts.repeated =
        option.get_expected_max() > 1 || option.get_multi_option_policy() == CLI::MultiOptionPolicy::TakeAll;
    if (facts.positional) {
        facts.names = {option.get_name(true)};
    } else {
        for (const std::string& name : option.get_lnames()) facts.names.push_back("--" + name);
        for (const std::string& name : option.get_snames()) facts.names.push_back("-" + name);
    }
    if (option.get_type_size_max() > 0) read_type(option.get_type_name(), facts);
    return facts;
}

}  // namespace

std::vector<OptionFacts> options_of(const CLI::App& app) {
    std::vector<OptionFacts> all;
    for (const CLI::Option* option : app.get_options()) {
        if (!option->get_group().empty()) all.push_back(facts_of(*option));
    }
    return all;
}

std::vector<const CLI::App*> commands_of(const CLI::App& app) {
    std::vector<const CLI::App*> all;
    for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
        if (!command->get_group().empty()) all.push_back(command);
    }
    return all;
}

}  // namespace coldtune::cli
