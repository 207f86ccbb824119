// Runs go in, and come out of the kept captures again bit for bit.
#include "analyzer/book/runs.hpp"

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"
#include "analyzer/measure/result_json.hpp"
#include "tests/support/book_rig.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

class BookRuns : public test::BookRig {};

TEST_F(BookRuns, ARunIsKeptWithAllItRestsOn) {
    BookFile file = book();
    NewRun run = foot_run();
    run.note = "head free";
    const auto added = add_run(file, run);
    ASSERT_TRUE(added.ok()) << added.error().message;
    ASSERT_TRUE(file.save().ok());
    const auto read = read_book(file.places());
    ASSERT_TRUE(read.ok()) << read.error().message;
    const Book& b = read->book;
    ASSERT_EQ(b.runs.size(), 1U);
    const book::Run& kept = b.runs[0];
    EXPECT_EQ(kept.name, "foot");
    EXPECT_EQ(kept.capture, "0001-foot.flac");
    EXPECT_EQ(kept.standards.open, "0002-open.flac");
    EXPECT_EQ(kept.coil, 1);
    EXPECT_EQ(b.interfaces[0].device, "made up");
    EXPECT_EQ(kept.notes[0].text, "head free");
    const Headline headline = headline_of(kept);
    EXPECT_EQ(headline.verdict, "caution");  // the rig describes another coil than it has
    ASSERT_TRUE(headline.resonance_hz.has_value());
    // The bench's own coil; one part in 10,000 as in the other tests of this bench.
    EXPECT_NEAR(*headline.resonance_hz, 62e3, 6.2);
    EXPECT_EQ(*headline.resonance_hz, added->result.resonance()->frequency_hz);

    // The outline holds bins of the response as they are, with many about the resonance.
    ASSERT_TRUE(kept.response.has_value());
    EXPECT_EQ(kept.response->bins, added->result.curve.frequency_hz.size());
    EXPECT_GT(kept.response->frequency_hz.size(), most_outline_points * 3 / 4);
    std::size_t near = 0;
    for (std::size_t i = 0; i < kept.response->frequency_hz.size(); ++i) {
        const auto& whole = added->result.curve;
        const auto at = std::find(whole.frequency_hz.begin(), whole.frequency_hz.end(), kept.response->frequency_hz[i]);
        ASSERT_NE(at, whole.frequency_hz.end());
        const auto k = static_cast<std::size_t>(at - whole.frequency_hz.begin());
        EXPECT_EQ(kept.response->impedance_real_ohm[i], whole.impedance_ohm[k].real());
        EXPECT_EQ(kept.response->impedance_imaginary_ohm[i], whole.impedance_ohm[k].imag());
        EXPECT_EQ(kept.response->standard_deviation_ohm[i], whole.standard_deviation_ohm[k]);
        near += std::abs(*at - 62e3) < 5 * 62e3 / 150 ? 1U : 0U;
    }
    EXPECT_GE(near, most_outline_points / 2);
}

TEST_F(BookRuns, TheKeptFilesGiveTheStoredResultBitForBit) {
    BookFile file = book();
    for (const KeepAs as : {KeepAs::flac, KeepAs::wav}) {
        NewRun run = foot_run();
        run.keep_as = as;
        ASSERT_TRUE(add_run(file, run).ok());
    }
    const book::Run& first = file.book().runs[0];
    const auto again = analyse_again(file.book(), file.places(), first);
    ASSERT_TRUE(again.ok()) << again.error().message;
    EXPECT_TRUE(again->same) << again->difference;

    // And so do the original files, analysed without any book.
    measure::AnalysisRequest request;
    request.coil = *audio::read_capture(at("foot.wav"));
    request.open = measure::Standard{*audio::read_capture(at("open.wav")), "0002-open.flac"};
    request.description =
        file.book().runs.size() == 2 ? request_of(file.book(), file.places(), first)->description : std::nullopt;
    request.bench.reference_ohm = 10e3;
    const auto without = measure::analyze(request);
    ASSERT_TRUE(without.ok());
    const auto stored = stored_result(file.places(), first);
    ASSERT_TRUE(stored.ok()) << stored.error().message;
    EXPECT_EQ(*stored, result_text(*without));
}

TEST_F(BookRuns, AnotherResultIsSeenAndSaidWhere) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    book::Run& run = file.book().runs[0];
    const KeptJson before = run.result;
    record::Json changed = *run.result;
    changed["resonance"]["frequency_hz"] = changed["resonance"]["frequency_hz"].get<double>() * (1 + 1e-15);
    run.result = std::make_shared<const record::Json>(changed);
    auto again = analyse_again(file.book(), file.places(), run);
    ASSERT_TRUE(again.ok());
    EXPECT_FALSE(again->same);
    EXPECT_THAT(again->difference, HasSubstr("resonance.frequency_hz: 6"));
    // Another version of the program that comes to the same is the same.
    run.result = before;
    run.settings.reference_ohm *= 1 + 1e-6;
    again = analyse_again(file.book(), file.places(), run);
    EXPECT_FALSE(again->same);
}

TEST_F(BookRuns, AVersionThatComesToTheSameResultIsNoDifference) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    book::Run& run = file.book().runs[0];
    // As if version 0.0.1 had stored it.
    std::string text = *stored_result(file.places(), run);
    const std::string now = "\"program_version\": \"" COLDTUNE_VERSION "\"";
    ASSERT_NE(text.find(now), std::string::npos);
    text.replace(text.find(now), now.size(), "\"program_version\": \"0.0.1\"");
    run.result_file = *keep_text(file.places(), run.result_file.file, text);
    record::Json result = *run.result;
    result["program_version"] = "0.0.1";
    run.result = std::make_shared<const record::Json>(result);
    run.program_version = "0.0.1";
    const auto again = analyse_again(file.book(), file.places(), run);
    ASSERT_TRUE(again.ok());
    EXPECT_TRUE(again->same) << again->difference;
}

TEST_F(BookRuns, CoilsAndInterfacesAreKeptOnceAndChangesMakeVersions) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    EXPECT_EQ(file.book().coils.size(), 1U);
    EXPECT_EQ(file.book().captures.size(), 2U);
    folder_.put("coil.json", R"({"secondary": {"diameter": "110mm", "length": "50cm", "turns": 990, "wire": "0.4mm",
        "base_height": "15cm"}})");
    NewRun run = foot_run();
    run.bench.input_capacitance_f = 120e-12;
    ASSERT_TRUE(add_run(file, run).ok());
    EXPECT_EQ(file.book().coils.size(), 2U);
    EXPECT_EQ(file.book().interfaces.size(), 2U);
    EXPECT_EQ(file.book().runs[2].coil, 2);
    EXPECT_EQ(file.book().runs[0].coil, 1);
    ASSERT_TRUE(file.save().ok());
}

TEST_F(BookRuns, ARejectedMeasurementIsKeptWithoutANumber) {
    BookFile file = book();
    audio::CaptureFile swapped = *foot_;
    std::swap(swapped.capture.generator, swapped.capture.coil);
    NewRun run = foot_run();
    run.capture = swapped;
    const auto added = add_run(file, run);
    ASSERT_TRUE(added.ok()) << added.error().message;
    const Headline headline = headline_of(file.book().runs[0]);
    EXPECT_EQ(headline.verdict, "rejected");
    EXPECT_FALSE(headline.resonance_hz.has_value());
    ASSERT_TRUE(file.save().ok());
    EXPECT_TRUE(analyse_again(file.book(), file.places(), file.book().runs[0])->same);
}

TEST_F(BookRuns, WhatFailsLeavesTheBookAndTheFolderAsTheyWere) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    const std::string before = book_text(file.book());
    const auto files = [&] {
        std::vector<std::string> names;
        for (const auto& entry : fs::directory_iterator(file.places().captures))
            names.push_back(entry.path().filename());
        std::sort(names.begin(), names.end());
        return names;
    };
    const auto files_before = files();
    audio::CaptureFile other = *foot_;
    other.capture.coil[7] += 0x1p-20;
    write("other.wav", other, audio::SampleFormat::float32);
    NewRun run = foot_run();
    run.capture = folder_ / "other.wav";
    run.period_frames = 1 << 24;  // longer than the capture
    EXPECT_FALSE(add_run(file, run).ok());
    run = foot_run();
    run.capture = folder_ / "other.wav";
    run.open = folder_ / "none.wav";
    EXPECT_THAT(add_run(file, run).error().message, HasSubstr("none.wav: there is no such file"));
    run = foot_run();
    run.note = "two\nlines";
    EXPECT_FALSE(add_run(file, run).ok());
    folder_.put("coil.json", "{}");
    EXPECT_FALSE(add_run(file, foot_run()).ok());
    EXPECT_EQ(book_text(file.book()), before);
    EXPECT_EQ(files(), files_before);
    // A recording from memory exists nowhere else: it stays, and the message says where.
    run = foot_run();
    run.capture = other;
    const auto failed = add_run(file, run);
    ASSERT_FALSE(failed.ok());
    EXPECT_THAT(failed.error().message, HasSubstr("the recording is in"));
    EXPECT_THAT(failed.error().message, HasSubstr("0003-foot.flac"));
    EXPECT_EQ(book_text(file.book()), before);
    EXPECT_EQ(files().size(), files_before.size() + 1);
}

TEST_F(BookRuns, ResultsOfRunsThatWereLostAreNotOverwritten) {
    BookFile file = book();
    fs::create_directory(file.places().captures);
    folder_.put("bench.captures/run-0001.json", "of a run that was lost");
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    EXPECT_EQ(file.book().runs[0].result_file.file, "run-0001-2.json");
    EXPECT_EQ(testing::bytes_of(folder_ / "bench.captures/run-0001.json"), "of a run that was lost");
}

TEST_F(BookRuns, NotesAreOneLine) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    EXPECT_TRUE(add_note(file.book(), 1, "wall moved").ok());
    for (const std::string& wrong :
         {std::string(), std::string("a\nb"), std::string(longest_note + 1, 'x'), std::string("\xff")}) {
        EXPECT_FALSE(add_note(file.book(), 1, wrong).ok());
    }
    EXPECT_FALSE(add_note(file.book(), 2, "x").ok());
    EXPECT_EQ(file.book().runs[0].notes.size(), 1U);
}

}  // namespace
}  // namespace coldtune::book
