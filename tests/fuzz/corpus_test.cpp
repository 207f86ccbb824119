// What the fuzzers start from, and every input that once broke a reader, in each ordinary build.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "tests/fuzz/readers.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::fuzz {
namespace {

class Corpus : public ::testing::TestWithParam<Reader> {};

TEST_P(Corpus, IsReadOrRefused) {
    std::vector<std::filesystem::path> files;
    for (const auto& entry :
         std::filesystem::directory_iterator(std::filesystem::path(COLDTUNE_FIXTURES) / "fuzz" / GetParam().name))
        files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    EXPECT_GE(files.size(), 3U);
    for (const auto& file : files) {
        SCOPED_TRACE(file.filename().string());
        const std::string bytes = testing::bytes_of(file);
        EXPECT_NO_THROW(GetParam().feed(bytes));
        // Cut short, as a full disk leaves it; thirty places are enough of a long one.
        for (std::size_t length = 0; length < bytes.size(); length += 1 + bytes.size() / 30)
            EXPECT_NO_THROW(GetParam().feed(std::string_view(bytes).substr(0, length))) << "cut to " << length;
    }
}

INSTANTIATE_TEST_SUITE_P(Readers, Corpus, ::testing::ValuesIn(readers),
                         [](const auto& reader) { return std::string(reader.param.name); });

}  // namespace
}  // namespace coldtune::fuzz
