// How long a frame of the plot takes to build: 20 runs of 100,000 points each, two panes. Wanted: under 2 ms (median).
#include <benchmark/benchmark.h>

#include <cmath>
#include <memory>

#include "tests/bench/plot_window.hpp"

namespace coldtune::gui {
namespace {

constexpr std::size_t kRuns = 20, kPoints = 100000;

std::shared_ptr<const CurveData> curve(std::size_t run, bool phase) {
    auto data = std::make_shared<CurveData>();
    const double f0 = 60e3 + 500.0 * static_cast<double>(run), q = 150;
    unsigned noise = static_cast<unsigned>(run) + 1;
    for (std::size_t k = 0; k < kPoints; ++k) {
        const double f = 500 + 86000.0 * static_cast<double>(k) / kPoints;
        const double u = q * (f / f0 - f0 / f);
        noise = noise * 1664525U + 1013904223U;  // Numerical Recipes' generator, from memory; any noise would do
        const double jitter = 1 + 0.02 * (static_cast<double>(noise >> 16U) / 65536 - 0.5);
        data->x.push_back(f);
        data->y.push_back(phase ? -std::atan(u) * 57.3 * jitter : 1e-3 / std::hypot(1, u) * jitter);
        data->half_width.push_back(std::abs(data->y.back()) * 0.01);
    }
    return data;
}

PlotScene scene() {
    PlotScene scene;
    scene.panes = {{"Admittance", "S", {}}, {"Phase", "\u00b0", {}}};
    for (std::size_t run = 0; run < kRuns; ++run) {
        for (const bool phase : {false, true}) {
            scene.panes[phase ? 1 : 0].curves.push_back(
                {curve(run, phase), CurveLook::measured, light_theme().run_color(run)});
        }
    }
    return scene;
}

void plot_frame(benchmark::State& state) {
    PlotWindow plot;
    plot.show(scene());
    plot.frame();
    for (auto _ : state) plot.frame();
}
BENCHMARK(plot_frame)->Unit(benchmark::kMillisecond);

// The view moves in every frame, as while the wheel turns.
void plot_frame_while_zooming(benchmark::State& state) {
    PlotWindow plot;
    plot.show(scene());
    double factor = 1.01;
    for (auto _ : state) {
        zoom(plot.view().x, 0.6, factor);
        factor = 1 / factor;
        plot.frame();
    }
}
BENCHMARK(plot_frame_while_zooming)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace coldtune::gui
