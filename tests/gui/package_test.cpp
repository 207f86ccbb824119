// The Debian package as it is built from this tree: what is in it, what it says of itself, and its documents under the
// readers that will meet them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using testing::bytes_of;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using testing::Outcome;

constexpr auto kLimit = std::chrono::seconds(120);

Outcome run(const std::vector<std::string>& arguments) {
    return testing::run(arguments, kLimit);
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    return lines;
}

class Package : public ::testing::Test {
protected:
    static void SetUpTestSuite() {
        folder_ = new testing::ScratchFolder;
        const Outcome packed = run({"cpack", "--config", std::string(COLDTUNE_BUILD_DIR) + "/CPackConfig.cmake", "-B",
                                    (*folder_ / "out").string()});
        ASSERT_EQ(packed.code, 0) << packed.output << packed.errors;
        for (const auto& entry : fs::directory_iterator(*folder_ / "out")) {
            if (entry.path().extension() == ".deb") package_ = entry.path();
        }
        ASSERT_FALSE(package_.empty()) << packed.output;
        root_ = *folder_ / "root";
        ASSERT_EQ(run({"dpkg-deb", "-x", package_.string(), root_.string()}).code, 0);
    }
    static void TearDownTestSuite() {
        delete folder_;
        folder_ = nullptr;
    }
    static testing::ScratchFolder* folder_;
    static fs::path package_, root_;
};
testing::ScratchFolder* Package::folder_ = nullptr;
fs::path Package::package_, Package::root_;

TEST_F(Package, HoldsWhatItShouldAndNothingElse) {
    const Outcome listing = run({"dpkg-deb", "-c", package_.string()});
    ASSERT_EQ(listing.code, 0) << listing.errors;
    std::vector<std::string> files, odd;
    for (const std::string& line : lines_of(listing.output)) {
        const std::string path = line.substr(line.find("./"));
        const bool folder = line[0] == 'd';
        if (!folder) files.push_back(path.substr(1));
        const bool program = path.rfind("./usr/bin/coldtune", 0) == 0;
        const std::string mode = folder || program ? "rwxr-xr-x" : "rw-r--r--";
        if (line.substr(1, 9) != mode || line.find(" root/root ") == std::string::npos) odd.push_back(line);
    }
    EXPECT_THAT(odd, IsEmpty());
    const std::vector<std::string> wanted = {"/usr/bin/coldtune",
                                             "/usr/bin/coldtune-window",
                                             "/usr/share/applications/coldtune.desktop",
                                             "/usr/share/bash-completion/completions/coldtune",
                                             "/usr/share/bash-completion/completions/coldtune-window",
                                             "/usr/share/doc/coldtune/README.md",
                                             "/usr/share/doc/coldtune/changelog.gz",
                                             "/usr/share/doc/coldtune/copyright",
                                             "/usr/share/doc/coldtune/examples/bench.json",
                                             "/usr/share/doc/coldtune/examples/coil.json",
                                             "/usr/share/icons/hicolor/scalable/apps/coldtune.svg",
                                             "/usr/share/man/man1/coldtune-window.1.gz",
                                             "/usr/share/man/man1/coldtune.1.gz"};
    EXPECT_THAT(files, ::testing::UnorderedElementsAreArray(wanted));
}

TEST_F(Package, SaysWhatItIsAndNeeds) {
    const std::string control = run({"dpkg-deb", "-f", package_.string()}).output;
    for (const char* field : {"Package: coldtune\n", "Version: " COLDTUNE_VERSION "\n", "Section: electronics\n",
                              "Priority: optional\n", "Maintainer: ", "Installed-Size: "}) {
        EXPECT_THAT(control, HasSubstr(field));
    }
    const std::string needs = run({"dpkg-deb", "-f", package_.string(), "Depends"}).output;
    for (const char* library :
         {"libportaudio2", "libsndfile1", "libfftw3-double3", "libglfw3", "libc6", "fonts-open-sans"}) {
        EXPECT_THAT(needs, HasSubstr(library));
    }
    EXPECT_THAT(bytes_of(root_ / "usr/share/doc/coldtune/copyright"), HasSubstr("License: GPL-3+"));
}

TEST_F(Package, RunsFromWhereItIsUnpacked) {
    const Outcome version = run({(root_ / "usr/bin/coldtune").string(), "--version"});
    EXPECT_EQ(version.code, 0);
    EXPECT_THAT(version.output, HasSubstr("coldtune " COLDTUNE_VERSION));
    const Outcome predicted = run({(root_ / "usr/bin/coldtune").string(), "predict",
                                   (root_ / "usr/share/doc/coldtune/examples/coil.json").string()});
    EXPECT_EQ(predicted.code, 0) << predicted.errors;
    EXPECT_EQ(run({(root_ / "usr/bin/coldtune-window").string(), "--version"}).code, 0);
}

TEST_F(Package, DesktopEntryAndIconAreValid) {
    const Outcome checked =
        run({"desktop-file-validate", (root_ / "usr/share/applications/coldtune.desktop").string()});
    EXPECT_EQ(checked.code, 0) << "desktop-file-utils is installed by ./tests/run; it said: " << checked.output
                               << checked.errors;
    EXPECT_EQ(checked.output, "");
    const Outcome icon =
        run({"python3", "-c", "import sys, xml.etree.ElementTree as e; print(e.parse(sys.argv[1]).getroot().tag)",
             (root_ / "usr/share/icons/hicolor/scalable/apps/coldtune.svg").string()});
    EXPECT_EQ(icon.output, "{http://www.w3.org/2000/svg}svg\n") << icon.errors;
}

TEST_F(Package, ManualPagesAreReadWithoutAComplaint) {
    for (const char* name : {"coldtune.1.gz", "coldtune-window.1.gz"}) {
        const std::string page = (root_ / "usr/share/man/man1" / name).string();
        const Outcome lint = run({"mandoc", "-T", "lint", "-W", "warning", page});
        EXPECT_EQ(lint.code, 0) << "mandoc is installed by ./tests/run; it said: " << lint.output << lint.errors;
        EXPECT_EQ(lint.output + lint.errors, "");
        const Outcome text = run({"mandoc", "-T", "ascii", page});
        for (const char* heading : {"NAME", "SYNOPSIS", "OPTIONS", "CAUTIONS", "SEE"}) {
            EXPECT_THAT(text.output, HasSubstr(heading[0] + std::string("\b") + heading[0])) << heading;  // overstruck
        }
    }
}

}  // namespace
}  // namespace coldtune
