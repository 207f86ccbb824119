// How long a book of 2,000 runs takes to open, to save and to put on paper. Wanted: opened in under 1 s.
#include <benchmark/benchmark.h>

#include <stdexcept>

#include "analyzer/book/book_file.hpp"
#include "analyzer/book/seal.hpp"
#include "analyzer/share/report_book.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

book::BookFile file_with(const testing::ScratchFolder& folder, int runs) {
    auto file = book::BookFile::open_or_create(folder / "book.json");
    if (!file) throw std::runtime_error(file.error().message);
    file->book() = test::example_book(runs);
    for (book::Run& run : file->book().runs) run.seal = book::seal_of(run);
    for (book::KeptCapture& capture : file->book().captures) capture.seal = book::seal_of(capture);
    if (const Status saved = file->save(); !saved) throw std::runtime_error(saved.error().message);
    return std::move(*file);
}

void open_book(benchmark::State& state) {
    const testing::ScratchFolder folder;
    const book::BookFile file = file_with(folder, static_cast<int>(state.range(0)));
    for (auto _ : state) {
        auto opened = book::read_book(file.places());
        benchmark::DoNotOptimize(book::settle_alterations(opened->book, file.places()).size());
    }
    state.counters["bytes"] = static_cast<double>(std::filesystem::file_size(folder / "book.json"));
}
BENCHMARK(open_book)->Arg(20)->Arg(2000)->Unit(benchmark::kMillisecond);

void save_book(benchmark::State& state) {
    const testing::ScratchFolder folder;
    book::BookFile file = file_with(folder, static_cast<int>(state.range(0)));
    for (auto _ : state) benchmark::DoNotOptimize(file.save().ok());
}
BENCHMARK(save_book)->Arg(20)->Arg(2000)->Unit(benchmark::kMillisecond);

// Without its curves, whose files the example does not have.
void report_book(benchmark::State& state) {
    const testing::ScratchFolder folder;
    const book::BookFile file = file_with(folder, static_cast<int>(state.range(0)));
    std::size_t bytes = 0;
    for (auto _ : state) {
        auto pages = share::pages_of(file.book(), file.places(), {});
        if (!pages) throw std::runtime_error(pages.error().message);
        share::Report report;
        report.runs = std::move(pages->runs);
        report.coil = std::move(pages->coil);
        bytes = share::report_html(report)->size();
    }
    state.counters["bytes"] = static_cast<double>(bytes);
}
BENCHMARK(report_book)->Arg(20)->Arg(2000)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace coldtune
