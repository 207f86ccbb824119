#include "analyzer/cli/manual.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <vector>

#include "analyzer/cli/option_facts.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::cli {
namespace {

// A line of text for roff: its own signs written out, hyphens that are typed, other letters by number.
std::string roff(std::string_view text) {
    std::string out;
    for (char32_t c : record::decode_utf8(text)) {
        if (c == U'\\') {
            out += "\\e";
        } else if (c == U'-') {
            out += "\\-";
        } else if (c == U'\'' || c == U'`') {
            out += c == U'`' ? "\\(ga" : "\\(aq";
        } else if (c >= 0x7F) {
            out += fmt::format("\\[u{:04X}]", static_cast<unsigned>(c));
        } else {
            out += c < 0x20 ? ' ' : static_cast<char>(c);
        }
    }
    // A full stop in front would be a request.
    return out.starts_with('.') ? "\\&" + out : out;
}

std::string shown_name(const OptionFacts& o) {
    std::string out;
    for (const std::string& name : o.names) {
        out += fmt::format("{}\\fB{}\\fR", out.empty() ? "" : ", ", roff(name));
    }
    if (!o.value.empty() && !o.positional) out += fmt::format(" \\fI{}\\fR", roff(o.value));
    return out;
}

// "coldtune export --out FILE [OPTION...] RESULT.json"; `command` is "" for the program itself, else "book list".
std::string synopsis(std::string_view program, const CLI::App& app, std::string_view command) {
    std::string out = fmt::format("\\fB{}\\fR", roff(program));
    if (!command.empty()) out += fmt::format(" \\fB{}\\fR", roff(command));
    if (!commands_of(app).empty()) return out + " \\fICOMMAND\\fR [\\fIOPTION\\fR...]";
    const std::vector<OptionFacts> options = options_of(app);
    for (const OptionFacts& o : options) {
        if (o.required && !o.positional) out += fmt::format(" \\fB{}\\fR \\fI{}\\fR", roff(o.names[0]), roff(o.value));
    }
    out += " [\\fIOPTION\\fR...]";
    for (const OptionFacts& o : options) {
        if (!o.positional) continue;
        const std::string name =
            fmt::format("\\fI{}\\fR{}", roff(o.value.empty() ? o.names[0] : o.value), o.repeated ? "..." : "");
        out += o.required ? " " + name : " [" + name + "]";
    }
    return out;
}

std::string entries(const CLI::App& app) {
    std::string out;
    for (const OptionFacts& o : options_of(app)) {
        std::string help = o.help;
        // Choices that the words do not name already.
        if (!o.choices.empty() && help.find(o.choices[0] + ",") == std::string::npos) {
            help += ": " + CLI::detail::join(o.choices, ", ");
        }
        if (o.required && !o.positional) help += " (required)";
        if (o.repeated && !o.positional) help += " (may be repeated)";
        const std::string head = o.positional ? fmt::format("\\fI{}\\fR", roff(o.value)) : shown_name(o);
        out += fmt::format(".TP\n{}\n{}.\n", head, roff(help));
    }
    return out;
}

// A command and those below it, each under a heading of its own.
std::string command_part(std::string_view program, const CLI::App& app, const std::string& name) {
    std::string out = fmt::format(".SS {}\n{}.\n.PP\n{}\n{}", roff(name), roff(app.get_description()),
                                  synopsis(program, app, name), entries(app));
    for (const CLI::App* below : commands_of(app)) out += command_part(program, *below, name + " " + below->get_name());
    return out;
}

std::string quoted(const std::vector<std::string>& list) {
    return fmt::format("'{}'", CLI::detail::join(list, " "));
}

std::vector<std::string> dashed_names(const CLI::App& app) {
    std::vector<std::string> names;
    for (const OptionFacts& o : options_of(app)) {
        if (!o.positional) names.insert(names.end(), o.names.begin(), o.names.end());
    }
    return names;
}

std::string completion_of(const CLI::App& app, const std::string& indent, int depth);

// Choosing a command: the word `depth` places behind the program is one of those below `app`, or is to become one.
std::string choice_of(const CLI::App& app, const std::string& indent, int depth) {
    std::vector<std::string> names;
    std::string out =
        fmt::format("{0}command=''\n{0}(( COMP_CWORD > {1} )) && command=${{COMP_WORDS[{1}]}}\n", indent, depth);
    out += fmt::format("{}case $command in\n", indent);
    for (const CLI::App* command : commands_of(app)) {
        names.push_back(command->get_name());
        out += fmt::format("{0}    {1})\n{2}{0}        ;;\n", indent, command->get_name(),
                           completion_of(*command, indent + "        ", depth + 1));
    }
    const std::vector<std::string> own = dashed_names(app);
    names.insert(names.end(), own.begin(), own.end());
    return out +
           fmt::format("{0}    '')\n{0}        _coldtune_words {1}\n{0}        ;;\n{0}esac\n", indent, quoted(names));
}

// The branch of one command: what may follow an option, else options or files.
std::string completion_of(const CLI::App& app, const std::string& indent, int depth) {
    if (!commands_of(app).empty()) return choice_of(app, indent, depth);
    std::vector<std::string> files, values;
    std::string out = fmt::format("{}case $before in\n", indent);
    bool wants_file = false;
    for (const OptionFacts& o : options_of(app)) {
        if (o.positional) {
            wants_file = wants_file || o.takes_file;
        } else if (!o.choices.empty()) {
            out += fmt::format("{}    {}) _coldtune_words {}; return ;;\n", indent, CLI::detail::join(o.names, "|"),
                               quoted(o.choices));
        } else if (o.takes_file) {
            files.insert(files.end(), o.names.begin(), o.names.end());
        } else if (!o.value.empty()) {
            values.insert(values.end(), o.names.begin(), o.names.end());
        }
    }
    if (!files.empty())
        out += fmt::format("{}    {}) _coldtune_files; return ;;\n", indent, CLI::detail::join(files, "|"));
    if (!values.empty()) out += fmt::format("{}    {}) return ;;\n", indent, CLI::detail::join(values, "|"));
    out += fmt::format("{}esac\n", indent);
    out += fmt::format("{0}if [[ $current == -* ]]; then\n{0}    _coldtune_words {1}\n", indent,
                       quoted(dashed_names(app)));
    if (wants_file) out += fmt::format("{0}else\n{0}    _coldtune_files\n", indent);
    return out + fmt::format("{}fi\n", indent);
}

}  // namespace

std::string man_page(const CLI::App& app, const ManualText& text) {
    std::string upper(text.name);
    for (char& c : upper) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
    std::string out = ".\\\" Made from the program's own description of its options; do not edit.\n";
    out += fmt::format(".TH \"{}\" \"1\" \"{}\" \"{} {}\" \"User Commands\"\n", roff(upper), text.date, roff(text.name),
                       text.version);
    out += fmt::format(".SH NAME\n{} \\- {}\n", roff(text.name), roff(text.summary));
    const auto commands = commands_of(app);
    out += fmt::format(".SH SYNOPSIS\n{}\n", synopsis(text.name, app, ""));
    if (!commands.empty()) {
        out += fmt::format(".br\n\\fB{}\\fR \\fICOMMAND\\fR \\fB\\-\\-help\\fR\n", roff(text.name));
    }
    out += fmt::format(".SH DESCRIPTION\n{}\n", roff(app.get_description()));
    out += ".SH OPTIONS\n" + entries(app);
    if (!commands.empty()) out += ".SH COMMANDS\n";
    for (const CLI::App* command : commands) out += command_part(text.name, *command, command->get_name());
    for (const ManualText::Section& section : text.sections) {
        out += fmt::format(".SH {}\n", roff(section.heading));
        for (std::size_t k = 0; k < section.items.size(); ++k) {
            out += fmt::format("{}{}\n", k == 0 ? "" : ".PP\n", roff(section.items[k]));
        }
    }
    return out;
}

std::string bash_completion(const CLI::App& app, std::string_view program) {
    std::string function = "_" + std::string(program);
    for (char& c : function) c = c == '-' ? '_' : c;
    std::string out = fmt::format(
        "# bash completion for {}; made from the program's own description of its options, do not edit.\n"
        "_coldtune_words() {{\n    mapfile -t COMPREPLY < <(compgen -W \"$1\" -- \"$current\")\n}}\n"
        "_coldtune_files() {{\n    compopt -o filenames 2>/dev/null\n"
        "    mapfile -t COMPREPLY < <(compgen -f -- \"$current\")\n}}\n"
        "{}() {{\n"
        "    local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}} command=''\n"
        "    COMPREPLY=()\n"
        // The shell takes --open=FILE and 100p=FILE apart at the sign.
        "    [[ $current == '=' ]] && current=''\n"
        "    if [[ $before == '=' || ${{COMP_WORDS[COMP_CWORD]}} == '=' ]]; then\n"
        "        local at=$((COMP_CWORD - 1))\n"
        "        [[ $before == '=' ]] && at=$((COMP_CWORD - 2))\n"
        "        before=${{COMP_WORDS[at]}}\n"
        "        if [[ $before != -* ]]; then _coldtune_files; return; fi\n"
        "    fi\n",
        program, function);
    out += completion_of(app, "    ", 1);
    return out + fmt::format("}}\ncomplete -F {} {}\n", function, program);
}

}  // namespace coldtune::cli
