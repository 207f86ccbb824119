// How processor time and memory grow with the task. Every size runs in a process of its own, so that its memory is the
// most it held at once; the exponent is the slope of a straight line through the logarithms.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <functional>
#include <memory>
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

// The least time of three runs of `work` in a child, and the child's largest memory.
Cost cost_of(const std::function<void()>& work) {
    int ends[2];
    if (::pipe(ends) != 0) throw std::runtime_error("no pipe");
    const pid_t child = ::fork();
    if (child == 0) {
        double least = INFINITY;
        for (int i = 0; i < 3; ++i) {
            const double begin = processor_s();
            work();
            least = std::min(least, processor_s() - begin);
        }
        const bool told = ::write(ends[1], &least, sizeof least) == static_cast<ssize_t>(sizeof least);
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

double slope(const std::vector<std::pair<double, double>>& points) {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    for (const auto& [size, value] : points) {
        const double a = std::log(size), b = std::log(value);
        n += 1, x += a, y += b, xx += a * a, xy += a * b;
    }
    return (n * xy - x * y) / (n * xx - x * x);
}

// `prepare` makes the work of one size; what it holds counts as memory.
void table(const char* title, const std::vector<double>& sizes,
           const std::function<std::function<void()>(double)>& prepare) {
    std::printf("%s\n", title);
    std::vector<std::pair<double, double>> times, memories;
    for (const double size : sizes) {
        const auto work = prepare(size);
        const Cost cost = cost_of(work);
        std::printf("  %10g %12.2f ms %10.1f MB\n", size, 1e3 * cost.seconds, cost.megabytes);
        std::fflush(stdout);
        times.emplace_back(size, cost.seconds);
        memories.emplace_back(size, cost.megabytes);
    }
    std::printf("  exponent %12.2f    %12.2f\n\n", slope(times), slope(memories));
}

std::function<void()> analysis(std::size_t period_frames, std::size_t periods) {
    test::CaptureShape shape;
    shape.period_frames = period_frames;
    shape.periods = periods;
    auto capture = test::bench_capture(bench::default_bench(), bench::Hookup::foot, shape);
    auto request = test::bench_request(std::move(capture), period_frames);
    return [request = std::move(request)] {
        const auto result = measure::analyze(request);
        if (!result || result->resonance() == nullptr) throw std::runtime_error("no resonance");
    };
}

}  // namespace

void print_growth() {
    table("analysis against the capture's length, s (period 32768 at 192 kHz)", {2.5, 5, 10, 20, 40},
          [](double s) { return analysis(32768, static_cast<std::size_t>(std::lround(s * 192000 / 32768))); });
    table("analysis against the period, frames (about 10 s)", {8192, 16384, 32768, 65536, 131072, 262144},
          [](double n) { return analysis(static_cast<std::size_t>(n), static_cast<std::size_t>(1920000 / n)); });
    table("model of a coil with toroid over ground against its sections", {30, 60, 120, 240, 480}, [](double n) {
        return [n] {
            const auto model =
                model::SecondaryModel::build(test::example_coil({model::Toroid{0.4, 0.1, 0.08}}),
                                             {.sections = static_cast<std::size_t>(n), .convergence = 1e-3});
            if (!model) throw std::runtime_error(model.error().message);
        };
    });
    table("opening a book against its runs", {250, 500, 1000, 2000, 4000}, [](double runs) {
        const auto folder = std::make_shared<testing::ScratchFolder>();
        auto file = book::BookFile::open_or_create(*folder / "book.json");
        if (!file) throw std::runtime_error(file.error().message);
        file->book() = test::example_book(static_cast<int>(runs));
        if (const Status saved = file->save(); !saved) throw std::runtime_error(saved.error().message);
        return [folder, places = file->places()] {
            if (!book::read_book(places)) throw std::runtime_error("not read");
        };
    });
}

}  // namespace coldtune::figures
