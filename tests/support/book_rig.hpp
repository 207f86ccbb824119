// A bench of which short healthy captures lie in a folder, for tests of what is kept of them.
#pragma once

#include <gtest/gtest.h>

#include "analyzer/book/runs.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::test {

class BookRig : public ::testing::Test {
protected:
    // Once for all tests: sweeping takes longer than everything else.
    static void SetUpTestSuite() {
        bench::Bench bench;
        bench.coil = series_coil(62e3, 150, 60e-3, 8e-12);
        const SweepShape shape{.period = 64000, .periods = 4};
        foot_ = std::make_unique<audio::CaptureFile>(capture(bench, bench::Hookup::foot, shape));
        foot_->note->device = "made up";
        foot_->note->reference_ohm = 10e3;
        open_ = std::make_unique<audio::CaptureFile>(capture(bench, bench::Hookup::open, shape));
        open_->note->hookup = "open";
    }
    static void TearDownTestSuite() {
        foot_.reset();
        open_.reset();
    }
    void SetUp() override {
        write("foot.wav", *foot_, audio::SampleFormat::pcm24);
        write("open.wav", *open_, audio::SampleFormat::float32);
        folder_.put("coil.json",
                    R"({"secondary": {"diameter": "200mm", "length": "90cm", "turns": 2700, "wire": "0.25mm",
            "base_height": "15cm"}, "topload": {"shape": "toroid", "outer_diameter": "60cm", "tube_diameter": "12cm",
            "height": "8cm"}})");
    }
    void write(const char* name, const audio::CaptureFile& file, audio::SampleFormat format) const {
        const Status written = audio::write_capture(folder_ / name, file.capture, format, file.note);
        ASSERT_TRUE(written.ok()) << written.error().message;
    }
    [[nodiscard]] std::string at(const char* name) const { return (folder_ / name).string(); }
    [[nodiscard]] book::BookFile book() const {
        auto file = book::BookFile::open_or_create(folder_ / "bench.json");
        EXPECT_TRUE(file.ok()) << (file ? "" : file.error().message);
        return std::move(*file);
    }
    [[nodiscard]] book::NewRun foot_run() const {
        book::NewRun run;
        run.capture = folder_ / "foot.wav";
        run.open = folder_ / "open.wav";
        run.coil = folder_ / "coil.json";
        run.bench.reference_ohm = 10e3;
        return run;
    }

    testing::ScratchFolder folder_;
    static inline std::unique_ptr<audio::CaptureFile> foot_, open_;
};

}  // namespace coldtune::test
