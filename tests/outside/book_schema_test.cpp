// The published JSON Schema of the book, held against our books by another reader: Python's jsonschema (Debian's
// python3-jsonschema), draft 2020-12.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "analyzer/book/book_json.hpp"
#include "tests/support/book_rig.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/process.hpp"

namespace coldtune {
namespace {

using record::Json;
using ::testing::Each;
using ::testing::StartsWith;
using ::testing::StrEq;

std::string jsonschema_python() {
    for (const char* candidate : {"/usr/bin/python3", "python3"}) {
        const auto tried = testing::run({candidate, "-c", "import jsonschema"}, std::chrono::milliseconds(60000));
        if (tried.code == 0) return candidate;
    }
    return {};
}

// What the other reader says of each text.
std::vector<std::string> verdicts(const testing::ScratchFolder& folder, const std::vector<std::string>& texts) {
    const std::string python = jsonschema_python();
    EXPECT_NE(python, "") << "no Python interpreter imports jsonschema; install python3-jsonschema";
    if (python.empty()) return {};
    std::vector<std::string> command = {python, COLDTUNE_SOURCE_DIR "/tests/outside/validate_books.py",
                                        COLDTUNE_FIXTURES "/bench_book.schema.json"};
    for (std::size_t i = 0; i < texts.size(); ++i) {
        command.push_back(folder.put("book-" + std::to_string(i) + ".json", texts[i]).string());
    }
    const auto said = testing::run(command, std::chrono::milliseconds(60000));
    EXPECT_EQ(said.code, 0) << said.errors;
    std::vector<std::string> lines;
    std::istringstream out(said.output);
    for (std::string line; std::getline(out, line);) lines.push_back(line);
    EXPECT_EQ(lines.size(), texts.size());
    return lines;
}

class BookSchema : public test::BookRig {};

TEST_F(BookSchema, HoldsForBooksAsTheyAreWritten) {
    book::BookFile file = book();
    book::NewRun run = foot_run();
    bench::Bench with_load;
    with_load.coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
    write("load.wav", test::capture(with_load, bench::Hookup::load, {.period = 64000, .periods = 4}),
          audio::SampleFormat::pcm24);
    run.load = folder_ / "load.wav";
    run.bench.load_ohm = 10e3;
    run.note = "with everything";
    run.settle_periods = 1;
    run.period_frames = 64000;
    const auto added = book::add_run(file, run);
    ASSERT_TRUE(added.ok()) << added.error().message;
    audio::CaptureFile swapped = *foot_;
    std::swap(swapped.capture.generator, swapped.capture.coil);
    swapped.note.reset();
    run = foot_run();
    run.coil.clear();
    run.open.clear();
    run.capture = swapped;  // rejected, straight from memory, nothing known about it
    ASSERT_TRUE(book::add_run(file, run).ok());
    run = foot_run();
    run.coupled = true;  // rejected: there is one circuit only
    ASSERT_TRUE(book::add_run(file, run).ok());
    ASSERT_TRUE(file.save().ok());
    EXPECT_THAT(book::book_text(file.book()), ::testing::HasSubstr("\"coupled\":true"));
    const auto said = verdicts(folder_, {book::book_text(file.book()), book::book_text(test::example_book(0)),
                                         book::book_text(test::example_book(50))});
    EXPECT_THAT(said, Each(StrEq("valid")));
}

TEST_F(BookSchema, RefusesWhatTheProgramRefuses) {
    const Json sound = Json::parse(book::book_text(test::example_book(2)));
    std::vector<std::string> wrong;
    const auto change = [&](auto edit) {
        Json json = sound;
        edit(json);
        wrong.push_back(json.dump());
        EXPECT_TRUE(std::holds_alternative<book::NoBook>(book::parse_book(wrong.back(), "book"))) << wrong.size();
    };
    change([](Json& j) { j["schema"] = "coldtune.book.v2"; });
    change([](Json& j) { j["extra"] = 1; });
    change([](Json& j) { j.erase("runs"); });
    change([](Json& j) { j["captures"][0]["file"] = "../a.wav"; });
    change([](Json& j) { j["captures"][0]["file"] = ".a.wav"; });
    change([](Json& j) { j["captures"][0]["sha256"] = "abc"; });
    change([](Json& j) { j["runs"][0]["settings"]["reference_ohm"] = 0; });
    change([](Json& j) { j["runs"][0]["settings"]["reference_ohm"] = "10k"; });
    change([](Json& j) { j["runs"][0]["settings"]["tolerances"]["more"] = 1; });
    change([](Json& j) { j["runs"][0]["settings"]["coupled"] = "yes"; });
    change([](Json& j) { j["runs"][0]["time_utc"] = "yesterday"; });
    change([](Json& j) { j["runs"][0]["hookup"] = "moon"; });
    change([](Json& j) { j["runs"][0]["result"]["verdict"] = "rejected"; });
    change([](Json& j) { j["runs"][0]["response"]["standard_deviation_ohm"][0] = -1; });
    change([](Json& j) { j["runs"][0]["notes"][0]["text"] = "two\nlines"; });
    EXPECT_THAT(verdicts(folder_, wrong), Each(StartsWith("invalid: $")));
}

}  // namespace
}  // namespace coldtune
