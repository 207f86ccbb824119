// The manual page and the completion against what the program itself says: every option of every command is in both,
// and bash completes with it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "tests/support/command_line.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using testing::coldtune;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::UnorderedElementsAre;

std::vector<std::string> words_of(const std::string& text) {
    std::istringstream stream(text);
    return {std::istream_iterator<std::string>(stream), {}};
}

// Options of the help text of every command ("export", "book list"), by the words the user sees; "" is the program
// itself. The help of a command that has others below it lists them after a heading.
std::map<std::string, std::set<std::string>> options_in_help() {
    static const std::regex command(R"(^  ([a-z]+) {2,}\S)"), option(R"(^  (?:-\w,)?(--[a-z0-9-]+))");
    std::map<std::string, std::set<std::string>> found;
    std::vector<std::string> names = {""};
    for (std::size_t k = 0; k < names.size(); ++k) {
        const std::string name = names[k];
        std::vector<std::string> arguments = words_of(name);
        arguments.emplace_back("--help");
        std::istringstream lines(coldtune(arguments).out);
        bool below = false;
        for (std::string line; std::getline(lines, line);) {
            below = below || line == "Subcommands:";
            if (std::smatch match; std::regex_search(line, match, option)) found[name].insert(match[1]);
            if (std::smatch match; below && std::regex_search(line, match, command))
                names.push_back(name + (name.empty() ? "" : " ") + match[1].str());
        }
    }
    return found;
}

TEST(Manual, ThePageHoldsEveryOptionOfEveryCommand) {
    const testing::ScratchFolder folder;
    const auto said = coldtune({"manual", "--man"});
    ASSERT_EQ(said.code, 0) << said.err;
    const auto read =
        testing::run({"mandoc", "-T", "utf8", "-O", "width=200", folder.put("coldtune.1", said.out).string()},
                     std::chrono::seconds(60));
    ASSERT_EQ(read.code, 0) << "mandoc is installed by ./tests/run; it said: " << read.errors;
    // Bold letters come overstruck.
    const std::string text = std::regex_replace(read.output, std::regex(".\b"), "");
    const auto all = options_in_help();
    for (const char* command : {"measure", "follow", "tune", "exchange", "book", "book add", "book export", "report"}) {
        EXPECT_TRUE(all.contains(command)) << command;
    }
    for (const auto& [command, options] : all) {
        const std::string heading = command.empty() ? "\nOPTIONS\n" : "\n   " + command + "\n";
        const auto from = text.find(heading);
        ASSERT_NE(from, std::string::npos) << command;
        // Up to the next heading: fewer than seven spaces before it.
        const std::string rest = text.substr(from + heading.size());
        std::smatch next;
        const bool more = std::regex_search(rest, next, std::regex("\n( {3})?[A-Za-z]"));
        const std::string section =
            "\n" + rest.substr(0, more ? static_cast<std::size_t>(next.position()) + 1 : rest.size());
        for (const std::string& option : options) {
            EXPECT_TRUE(std::regex_search(section, std::regex("\n +" + option + "[ ,\n]"))) << command << ' ' << option;
        }
    }
    for (const char* word : {"EXIT STATUS", "CAUTIONS", "BEFORE ANY POWER-UP", "high-voltage supply"}) {
        EXPECT_THAT(text, HasSubstr(word));
    }
}

// What bash offers for a line, its last word begun.
std::vector<std::string> offered(const testing::ScratchFolder& folder, const std::vector<std::string>& words) {
    std::string list;
    for (const std::string& word : words) list += "'" + word + "' ";
    const std::string script =
        "cd " + folder.path().string() + " && source ./completion.bash && COMP_WORDS=(" + list +
        ") && COMP_CWORD=$((${#COMP_WORDS[@]} - 1)) && _coldtune && printf '%s\\n' \"${COMPREPLY[@]}\"";
    const auto ran = testing::run({"bash", "--norc", "-c", script}, std::chrono::seconds(60));
    EXPECT_EQ(ran.errors, "");
    std::vector<std::string> found;
    std::istringstream lines(ran.output);
    for (std::string line; std::getline(lines, line);) {
        if (!line.empty()) found.push_back(line);
    }
    return found;
}

TEST(Manual, BashCompletesEveryOptionOfEveryCommand) {
    const testing::ScratchFolder folder;
    const auto said = coldtune({"manual", "--completion", "bash"});
    ASSERT_EQ(said.code, 0) << said.err;
    folder.put("completion.bash", said.out);
    const auto all = options_in_help();
    for (const auto& [command, options] : all) {
        std::vector<std::string> line = {"coldtune"};
        for (const std::string& word : words_of(command)) {
            std::vector<std::string> so_far = line;
            so_far.emplace_back();
            EXPECT_THAT(offered(folder, so_far), Contains(word)) << command;
            line.push_back(word);
        }
        line.emplace_back("--");
        EXPECT_THAT(offered(folder, line), ::testing::UnorderedElementsAreArray(options)) << command;
    }
}

TEST(Manual, BashCompletesWhatAnOptionTakes) {
    const testing::ScratchFolder folder;
    folder.put("completion.bash", coldtune({"manual", "--completion", "bash"}).out);
    folder.put("my coil.json", "");
    folder.put("a.wav", "");
    EXPECT_THAT(offered(folder, {"coldtune", "an"}), UnorderedElementsAre("analyze"));
    EXPECT_THAT(offered(folder, {"coldtune", "analyze", "--hookup", "l"}), UnorderedElementsAre("load", "loopback"));
    EXPECT_THAT(offered(folder, {"coldtune", "analyze", "--hookup", "=", "l"}),
                UnorderedElementsAre("load", "loopback"));
    EXPECT_THAT(offered(folder, {"coldtune", "analyze", "--coil", "m"}), UnorderedElementsAre("my coil.json"));
    EXPECT_THAT(offered(folder, {"coldtune", "analyze", "a"}), UnorderedElementsAre("a.wav"));
    EXPECT_THAT(offered(folder, {"coldtune", "loading", "--point", "100p", "=", "a"}), UnorderedElementsAre("a.wav"));
    EXPECT_THAT(offered(folder, {"coldtune", "book", "sh"}), UnorderedElementsAre("show"));
    EXPECT_THAT(offered(folder, {"coldtune", "book", "show", "my"}), UnorderedElementsAre("my coil.json"));
    EXPECT_THAT(offered(folder, {"coldtune", "book", "add", "--keep", ""}), UnorderedElementsAre("flac", "wav"));
    EXPECT_THAT(offered(folder, {"coldtune", "book", "nonsense", "--"}), UnorderedElementsAre());
    EXPECT_THAT(offered(folder, {"coldtune", "export", "--as", "touch"}),
                UnorderedElementsAre("touchstone1", "touchstone2"));
    EXPECT_THAT(offered(folder, {"coldtune", "analyze", "--reference", ""}), UnorderedElementsAre());
    EXPECT_THAT(offered(folder, {"coldtune", "nonsense", "--"}), UnorderedElementsAre());
}

TEST(Manual, AsksForOneOfBoth) {
    for (const std::vector<std::string>& more :
         {std::vector<std::string>{}, {"--man", "--completion", "bash"}, {"--completion", "tcsh"}}) {
        std::vector<std::string> arguments = {"manual"};
        arguments.insert(arguments.end(), more.begin(), more.end());
        const auto said = coldtune(arguments);
        EXPECT_EQ(said.code, 2);
        EXPECT_EQ(said.error_lines(), 1) << said.err;
    }
}

}  // namespace
}  // namespace coldtune
