// How processor time and memory grow with the task. What a size needs is made by one process and measured in another,
// so that the memory is the most the task itself held at once, with the program's own few megabytes; the exponent is
// the slope of a straight line through the logarithms.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <utility>
#include <vector>

#include "analyzer/book/book_file.hpp"
#include "analyzer/model/secondary.hpp"
#include "tests/bench/bench_captures.hpp"
#include "tests/bench/figures.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::figures {
namespace {

struct Cost {
    double seconds = 0, megabytes = 0;
};

double processor_s() {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return static_cast<double>(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           1e-6 * static_cast<double>(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
}

// Does `work` in a process of its own and hands back what it says, with the most memory it held.
Cost apart(const std::function<double()>& work) {
    int ends[2];
    if (::pipe(ends) != 0) throw std::runtime_error("no pipe");
    const pid_t child = ::fork();
    if (child == 0) {
        const double said = work();
        const bool told = ::write(ends[1], &said, sizeof said) == static_cast<ssize_t>(sizeof said);
        ::_exit(told ? 0 : 1);
    }
    ::close(ends[1]);
    Cost cost;
    const bool heard = ::read(ends[0], &cost.seconds, sizeof cost.seconds) == static_cast<ssize_t>(sizeof cost.seconds);
    ::close(ends[0]);
    rusage usage{};
    int status = 0;
    if (::wait4(child, &status, 0, &usage) != child || status != 0 || !heard) throw std::runtime_error("child failed");
    cost.megabytes = static_cast<double>(usage.ru_maxrss) / 1024;
    return cost;
}

double least_of_three(const std::function<void()>& work) {
    double least = INFINITY;
    for (int i = 0; i < 3; ++i) {
        const double begin = processor_s();
        work();
        least = std::min(least, processor_s() - begin);
    }
    return least;
}

double slope(const std::vector<std::pair<double, double>>& points) {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    for (const auto& [size, value] : points) {
        const double a = std::log(size), b = std::log(value);
        n += 1, x += a, y += b, xx += a * a, xy += a * b;
    }
    return (n * xy - x * y) / (n * xx - x * x);
}

using Step = std::function<void(double size, const std::filesystem::path& file)>;

void table(const char* title, const std::vector<double>& sizes, const Step& prepare, const Step& work) {
    std::printf("%s\n", title);
    std::vector<std::pair<double, double>> times, memories;
    for (const double size : sizes) {
        const testing::ScratchFolder folder;
        const auto file = folder / "task";
        static_cast<void>(apart([&] { return prepare(size, file), 0.0; }));
        const Cost cost = apart([&] { return least_of_three([&] { work(size, file); }); });
        std::printf("  %10g %12.2f ms %10.1f MB\n", size, 1e3 * cost.seconds, cost.megabytes);
        std::fflush(stdout);
        times.emplace_back(size, cost.seconds);
        memories.emplace_back(size, cost.megabytes);
    }
    std::printf("  exponent %12.2f    %12.2f\n\n", slope(times), slope(memories));
}

std::filesystem::path ending(std::filesystem::path file, const char* extension) {
    return file.replace_extension(extension);
}

void keep_capture(std::size_t period_frames, std::size_t periods, const std::filesystem::path& file) {
    test::CaptureShape shape;
    shape.period_frames = period_frames;
    shape.periods = periods;
    const auto capture = test::bench_capture(bench::default_bench(), bench::Hookup::foot, shape);
    const Status kept = audio::write_capture(ending(file, "wav"), capture, audio::SampleFormat::pcm24, {});
    if (!kept) throw std::runtime_error(kept.error().message);
}

void analyze_kept(std::size_t period_frames, const std::filesystem::path& file) {
    auto read = audio::read_capture(ending(file, "wav"));
    if (!read) throw std::runtime_error(read.error().message);
    const auto result = measure::analyze(test::bench_request(std::move(read->capture), period_frames));
    if (!result || result->resonance() == nullptr) throw std::runtime_error("no resonance");
}

}  // namespace

void print_growth() {
    constexpr std::size_t period = 32768;
    table(
        "analysis of a file against its length, s (period 32768 at 192 kHz)", {2.5, 5, 10, 20, 40},
        [](double s, const auto& file) {
            keep_capture(period, static_cast<std::size_t>(std::lround(s * 192000 / period)), file);
        },
        [](double, const auto& file) { analyze_kept(period, file); });
    table(
        "analysis of a file against the period, frames (about 10 s)", {8192, 16384, 32768, 65536, 131072, 262144},
        [](double n, const auto& file) {
            keep_capture(static_cast<std::size_t>(n), static_cast<std::size_t>(1920000 / n), file);
        },
        [](double n, const auto& file) { analyze_kept(static_cast<std::size_t>(n), file); });
    table(
        "model of a coil with toroid over ground against its sections", {30, 60, 120, 240, 480},
        [](double, const auto&) {},
        [](double n, const auto&) {
            const auto model =
                model::SecondaryModel::build(test::example_coil({model::Toroid{0.4, 0.1, 0.08}}),
                                             {.sections = static_cast<std::size_t>(n), .convergence = 1e-3});
            if (!model) throw std::runtime_error(model.error().message);
        });
    table(
        "opening a book against its runs", {250, 500, 1000, 2000, 4000},
        [](double runs, const auto& path) {
            auto file = book::BookFile::open_or_create(ending(path, "json"));
            if (!file) throw std::runtime_error(file.error().message);
            file->book() = test::example_book(static_cast<int>(runs));
            if (const Status saved = file->save(); !saved) throw std::runtime_error(saved.error().message);
        },
        [](double, const auto& path) {
            const auto file = book::BookFile::open_or_create(ending(path, "json"));
            if (!file || file->book().runs.empty()) throw std::runtime_error("not read");
        });
}

}  // namespace coldtune::figures
