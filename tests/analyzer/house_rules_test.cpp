// Rules of the house that a compiler does not check: who may include what, that nothing lies in no build list, that the
// fixtures are the ones described.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using testing::bytes_of;
using ::testing::IsEmpty;

const fs::path root = COLDTUNE_SOURCE_DIR;

std::string below_root(const fs::path& path) {
    return path.lexically_relative(root).generic_string();
}

// Every file below a folder of the project with one of these extensions.
std::vector<fs::path> files_below(const std::string& folder, const std::set<std::string>& extensions) {
    std::vector<fs::path> found;
    for (const auto& entry : fs::recursive_directory_iterator(root / folder)) {
        if (entry.is_regular_file() && extensions.contains(entry.path().extension().string()))
            found.push_back(entry.path());
    }
    std::sort(found.begin(), found.end());
    return found;
}

const std::set<std::string> sources = {".cpp", ".hpp", ".h", ".cc", ".hh", ".cxx", ".inl"};
const std::vector<std::string> parts = {"dsp", "analyzer", "gui"};

// What the lines of a file include, without brackets.
std::vector<std::string> includes_of(const fs::path& file) {
    static const std::regex include(R"(^\s*#\s*include\s*[<"]([^>"]+)[>"])");
    std::vector<std::string> found;
    std::istringstream lines(bytes_of(file));
    for (std::string line; std::getline(lines, line);) {
        if (std::smatch match; std::regex_search(line, match, include)) found.push_back(match[1]);
    }
    return found;
}

TEST(HouseRules, OneFileAtMostIncludesEachForeignLibrary) {
    std::map<std::string, std::vector<std::string>> users;
    for (const std::string& folder :
         {std::string("dsp"), std::string("analyzer"), std::string("gui"), std::string("tests")}) {
        for (const fs::path& file : files_below(folder, sources)) {
            for (const std::string& header : includes_of(file)) {
                const std::string name = header == "sndfile.hh" ? "sndfile.h" : header;
                for (const char* foreign : {"fftw3.h", "portaudio.h", "sndfile.h", "GLFW/glfw3.h", "nettle/sha2.h"}) {
                    if (name == foreign) users[foreign].push_back(below_root(file));
                }
            }
        }
    }
    EXPECT_EQ(users["fftw3.h"].size(), 1U);  // the reader of includes does see them
    EXPECT_EQ(users["sndfile.h"].size(), 1U);
    for (const auto& [header, files] : users) {
        EXPECT_LE(files.size(), 1U) << header << " is included by " << ::testing::PrintToString(files);
    }
}

TEST(HouseRules, DependenciesRunOneWay) {
    // Which parts of ours each part may include; nothing of ours includes tests or goes through "..".
    const std::map<std::string, std::set<std::string>> allowed = {
        {"dsp", {"dsp"}}, {"analyzer", {"dsp", "analyzer"}}, {"gui", {"dsp", "analyzer", "gui"}}};
    std::vector<std::string> wrong;
    std::size_t seen = 0;
    for (const std::string& part : parts) {
        for (const fs::path& file : files_below(part, sources)) {
            for (const std::string& header : includes_of(file)) {
                const std::string first = header.substr(0, header.find('/'));
                const bool ours = allowed.contains(first) || first == "tests";
                if (ours) ++seen;
                if ((ours && !allowed.at(part).contains(first)) || first == "..") {
                    wrong.push_back(below_root(file) + " includes " + header);
                }
                // Ours is named from the root, so that the rule above can see it.
                if (!ours && fs::exists(file.parent_path() / header)) {
                    wrong.push_back(below_root(file) + " includes " + header + " without its path from the root");
                }
            }
        }
    }
    EXPECT_THAT(wrong, IsEmpty());
    EXPECT_GT(seen, 20U);
}

// CMake files of a folder tree and what their lines (comments taken out) say.
struct BuildLists {
    std::set<fs::path> sources;   // every word ending in .cpp, resolved against the list's folder
    std::set<fs::path> included;  // every word ending in .cmake
    std::set<fs::path> lists;     // the .cmake files themselves
};

BuildLists build_lists(const std::string& folder) {
    BuildLists found;
    static const std::regex word(R"re([^\s()"]+\.(cpp|cmake))re");
    for (const fs::path& file : files_below(folder, {".txt", ".cmake"})) {
        if (file.extension() == ".txt" && file.filename() != "CMakeLists.txt") continue;
        if (file.extension() == ".cmake") found.lists.insert(file.lexically_normal());
        std::istringstream lines(bytes_of(file));
        for (std::string line; std::getline(lines, line);) {
            line = line.substr(0, line.find('#'));
            for (std::sregex_iterator at(line.begin(), line.end(), word), end; at != end; ++at) {
                std::string text = at->str();
                for (const char* here : {"${CMAKE_CURRENT_LIST_DIR}/", "${CMAKE_CURRENT_SOURCE_DIR}/"}) {
                    if (text.starts_with(here)) text.erase(0, std::string_view(here).size());
                }
                const fs::path named = (file.parent_path() / text).lexically_normal();
                (named.extension() == ".cpp" ? found.sources : found.included).insert(named);
            }
        }
    }
    return found;
}

TEST(HouseRules, EverySourceAndEveryTestIsInABuildList) {
    std::vector<std::string> lost;
    for (const std::string& folder :
         {std::string("dsp"), std::string("analyzer"), std::string("gui"), std::string("tests")}) {
        const BuildLists lists = build_lists(folder);
        for (const fs::path& file : files_below(folder, {".cpp"})) {
            if (!lists.sources.contains(file.lexically_normal())) lost.push_back(below_root(file));
        }
        // A list that nobody includes builds nothing.
        for (const fs::path& list : lists.lists) {
            if (!lists.included.contains(list)) lost.push_back(below_root(list) + " (included nowhere)");
        }
        for (const fs::path& file : lists.sources) {
            if (!fs::exists(file)) lost.push_back(below_root(file) + " (listed, not there)");
        }
    }
    EXPECT_THAT(lost, IsEmpty());
}

TEST(HouseRules, NoTestIsSwitchedOff) {
    // Put together here, or this file would find itself.
    const std::vector<std::string> words = {std::string("GTEST_") + "SKIP", std::string("DISABLED") + "_",
                                            std::string("EXPECT_TRUE(") + "true)", std::string("SUCCEED") + "()"};
    std::vector<std::string> found;
    for (const fs::path& file : files_below("tests", sources)) {
        const std::string text = bytes_of(file);
        for (const std::string& word : words) {
            if (text.find(word) != std::string::npos) found.push_back(below_root(file) + ": " + word);
        }
    }
    EXPECT_THAT(found, IsEmpty());
}

TEST(HouseRules, TheTopLevelHoldsOnlyWhatItShould) {
    const std::set<std::string> allowed = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "dsp",
                                           "analyzer",       "gui",       "tests",         "fixtures"};
    std::vector<std::string> extra;
    for (const auto& entry : fs::directory_iterator(root)) {
        const std::string name = entry.path().filename().string();
        const bool built =
            entry.is_directory() && (name == "build" || name.starts_with("build-"));  // not in the repository
        if (!name.starts_with('.') && !built && !allowed.contains(name)) extra.push_back(name);
    }
    EXPECT_THAT(extra, IsEmpty());
}

TEST(HouseRules, FixturesAreTheOnesTheManifestDescribes) {
    const fs::path folder = COLDTUNE_FIXTURES;
    static const std::regex row(R"(^\| `([^`]+)` \| (.*\S.*) \| `([0-9a-f]{64})` \|$)");
    std::map<std::string, std::string> listed;
    std::vector<std::string> wrong;
    std::istringstream lines(bytes_of(folder / "MANIFEST.md"));
    for (std::string line; std::getline(lines, line);) {
        if (!line.starts_with("| `")) continue;
        std::smatch match;
        if (!std::regex_match(line, match, row)) {
            wrong.push_back("cannot be read: " + line);
        } else if (!listed.emplace(match[1], match[3]).second) {
            wrong.push_back("listed twice: " + match[1].str());
        }
    }
    std::vector<std::string> arguments = {"sha256sum", "--"};
    std::vector<std::string> names;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        const fs::path name = entry.path().lexically_relative(folder);
        if (!entry.is_regular_file() || name == "MANIFEST.md" || name.extension() == ".pyc") continue;
        names.push_back(name.generic_string());
        arguments.push_back(entry.path().string());
    }
    const testing::Outcome sums = testing::run(arguments, std::chrono::milliseconds(60000));
    ASSERT_EQ(sums.code, 0) << "sha256sum of GNU coreutils is needed: " << sums.errors;
    std::istringstream sum_lines(sums.output);
    for (const std::string& name : names) {
        std::string line;
        ASSERT_TRUE(std::getline(sum_lines, line));
        const auto entry = listed.find(name);
        if (entry == listed.end()) {
            wrong.push_back("not in the manifest: " + name + " (describe it with fixtures/update_manifest.py)");
        } else {
            if (line.substr(0, 64) != entry->second) wrong.push_back("changed: " + name);
            listed.erase(entry);
        }
    }
    for (const auto& [name, sum] : listed) wrong.push_back("missing: " + name);
    EXPECT_THAT(wrong, IsEmpty());
    EXPECT_GT(names.size(), 10U);
}

}  // namespace
}  // namespace coldtune
