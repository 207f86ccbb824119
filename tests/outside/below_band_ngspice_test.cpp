// The below-band way on captures whose coil ngspice played.
//
// A coil of 24 coupled sections, every dimension off from its description by up to 5 %, is handed to ngspice as a
// netlist, with a cable and a reference resistor of its own values; ngspice says what both inputs hear at every line of
// the sweep. From that the two channels are put together line by line, with -100 dBFS of noise, rounded to 24 bits, and
// go through the whole analysis with an open standard made the same way. The true resonance is ngspice's own as well:
// where the reactance at the foot of the netlist is zero.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstdio>
#include <fstream>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "dsp/fft.hpp"
#include "dsp/stimulus.hpp"
#include "tests/support/below_band_case.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using Complex = std::complex<double>;
using test::Case;
using test::Draw;

// The bench of one case; the program is told 10k, 1 Mohm and 150 pF.
struct Wires {
    double source_ohm = 0, reference_ohm = 0, cable_f = 0;
};

// Elements of the coil between v0 (its foot) and the return.
std::string coil_elements(const test::TrueCoil& coil) {
    std::string text;
    const Eigen::Index n = coil.inductance_h.rows();
    for (Eigen::Index k = 0; k < n; ++k) {
        text += fmt::format("R{} v{} w{} {:.17g}\nL{} w{} v{} {:.17g}\n", k, k, k, coil.resistance_ohm, k, k, k + 1,
                            coil.inductance_h(k, k));
        for (Eigen::Index j = 0; j < k; ++j) {
            text += fmt::format("K{}_{} L{} L{} {:.17g}\n", k, j, k, j,
                                coil.inductance_h(k, j) / std::sqrt(coil.inductance_h(k, k) * coil.inductance_h(j, j)));
        }
    }
    for (Eigen::Index k = 0; k <= n; ++k) {
        text += fmt::format("C{} v{} 0 {:.17g}\n", k, k, coil.capacitance_f.row(k).sum());
        for (Eigen::Index j = 0; j < k; ++j) {
            text += fmt::format("C{}_{} v{} v{} {:.17g}\n", k, j, k, j, -coil.capacitance_f(k, j));
        }
    }
    return text + fmt::format("Cs v0 0 {:.17g}\n", std::max(coil.stray_f, 1e-18));
}

// Runs a deck and reads the table it writes: `columns` numbers a line.
std::vector<std::vector<double>> ngspice(const std::string& deck, const std::string& table, std::size_t columns) {
    const testing::ScratchFolder folder;
    const auto file = folder.put(
        "deck.cir", deck + fmt::format("wrdata {} {}\nquit\n.endc\n.end\n", (folder / "out.txt").string(), table));
    const auto outcome = testing::run({"ngspice", "-b", file.string()}, std::chrono::seconds(120));
    std::ifstream in(folder / "out.txt");
    std::vector<std::vector<double>> rows;
    std::vector<double> row(columns);
    while (true) {
        for (double& x : row) in >> x;
        if (!in) break;
        rows.push_back(row);
    }
    EXPECT_FALSE(rows.empty()) << "ngspice gave nothing; it said: " << outcome.output << outcome.errors;
    return rows;
}

// What both inputs hear of one volt at the generator, at `count` lines from first_hz on, `spacing_hz` apart.
struct Heard {
    std::vector<Complex> generator, coil;
};
Heard heard_lines(const std::optional<test::TrueCoil>& coil, const Wires& wires, double first_hz, double spacing_hz,
                  std::size_t count) {
    std::string deck = "a coil on the bench\nV1 s 0 AC 1\n";
    deck += fmt::format("Rs s g {:.17g}\nRr g v0 {:.17g}\n", wires.source_ohm, wires.reference_ohm);
    deck += fmt::format("Rg g 0 1e6\nCg g 0 {:.17g}\nRc v0 0 1e6\nCc v0 0 {:.17g}\n", wires.cable_f, wires.cable_f);
    if (coil) deck += coil_elements(*coil);
    deck += fmt::format(".control\nset numdgt=12\nac lin {} {:.17g} {:.17g}\n", count, first_hz,
                        first_hz + spacing_hz * static_cast<double>(count - 1));
    Heard heard;
    // A frequency before each column.
    for (const auto& row : ngspice(deck, "real(v(g)) imag(v(g)) real(v(v0)) imag(v(v0))", 8)) {
        heard.generator.emplace_back(row[1], row[3]);
        heard.coil.emplace_back(row[5], row[7]);
    }
    return heard;
}

// ngspice's zero of the reactance at the foot, a little either side of where the matrices put the first mode.
double ngspice_resonance_hz(const test::TrueCoil& coil, double about_hz) {
    std::string deck = "the foot of a coil\nI1 0 v0 AC 1\n" + coil_elements(coil);
    deck += fmt::format(".control\nset numdgt=12\nac lin 401 {:.17g} {:.17g}\n", 0.99 * about_hz, 1.01 * about_hz);
    const auto rows = ngspice(deck, "imag(v(v0))", 2);
    for (std::size_t i = 1; i < rows.size(); ++i) {
        const double before = rows[i - 1][1], after = rows[i][1];
        if (before < 0 && after >= 0) return rows[i - 1][0] + (rows[i][0] - rows[i - 1][0]) * before / (before - after);
    }
    ADD_FAILURE() << "ngspice shows no resonance near " << about_hz;
    return about_hz;
}

// Ten seconds of sweep of one period again and again, as a 24-bit interface records it.
audio::CaptureFile recorded(const Heard& heard, const dsp::PeriodicSweep& sweep, std::size_t first_bin, Draw& draw) {
    const auto period = dsp::sweep_period(sweep);
    EXPECT_TRUE(period.ok());
    dsp::RealFft fft(sweep.period_frames);
    const auto channel = [&](const std::vector<Complex>& lines) {
        std::vector<double> samples(sweep.period_frames);
        std::copy(period->begin(), period->end(), fft.time().begin());
        fft.forward();
        for (std::size_t k = 0; k < fft.bins(); ++k) {
            fft.spectrum()[k] *= k >= first_bin && k < first_bin + lines.size() ? 0.7 * lines[k - first_bin] : 0.0;
        }
        fft.inverse();
        samples.assign(fft.time().begin(), fft.time().end());
        std::vector<double> all;
        all.reserve(sweep.periods * samples.size());
        const double noise = 1e-5 / std::numbers::sqrt2;  // -100 dBFS against a full-scale sine
        for (std::size_t p = 0; p < sweep.periods; ++p) {
            for (const double x : samples) all.push_back(std::round((x + noise * draw.normal()) * 8388608) / 8388608);
        }
        return all;
    };
    audio::CaptureFile file;
    file.capture.sample_rate_hz = sweep.sample_rate_hz;
    file.capture.generator = channel(heard.generator);
    file.capture.coil = channel(heard.coil);
    file.bits = 24;
    return file;
}

struct Limits {
    test::Interface interface;
    std::size_t period, periods;
    double error, half_width;
};

void check(const Limits& limits, int cases, std::uint64_t seed) {
    Draw draw{std::mt19937_64(seed)};
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = limits.interface.rate_hz;
    sweep.period_frames = limits.period;
    sweep.periods = limits.periods;
    sweep.band = {1000, 0.45 * sweep.sample_rate_hz};
    sweep.level_dbfs = -6;
    const double spacing = sweep.sample_rate_hz / static_cast<double>(sweep.period_frames);
    const auto first_bin = static_cast<std::size_t>(std::ceil(sweep.band.low_hz / spacing));
    const auto count = static_cast<std::size_t>(std::floor(sweep.band.high_hz / spacing)) - first_bin + 1;
    int covered = 0;
    std::vector<double> half_widths;
    for (int i = 0; i < cases; ++i) {
        Case c = test::draw_case(draw, limits.interface, test::kNothing);
        c.truth.stray_f = std::abs(c.truth.stray_f);  // a netlist takes what is there, not what is missing
        const Wires wires{draw.uniform(50, 150), 10e3 * (1 + draw.uniform(-0.01, 0.01)),
                          162e-12 * (1 + draw.uniform(-0.2, 0.2))};
        const double truth = ngspice_resonance_hz(c.truth, c.resonance_hz);
        measure::AnalysisRequest request;
        request.bench = {10e3, 1e6, 150e-12, 10e3};
        request.description = c.described;
        request.period_frames = sweep.period_frames;
        const double first_hz = spacing * static_cast<double>(first_bin);
        request.coil = recorded(heard_lines(c.truth, wires, first_hz, spacing, count), sweep, first_bin, draw);
        request.open = measure::Standard{
            recorded(heard_lines(std::nullopt, wires, first_hz, spacing, count), sweep, first_bin, draw), "open"};
        const auto result = measure::analyze(request);
        ASSERT_TRUE(result.ok()) << result.error().message;
        const auto* r = result->resonance();
        ASSERT_NE(r, nullptr) << truth << " Hz: " << result->findings.front().text;
        EXPECT_EQ(r->way, measure::Way::below_band);
        const double error = r->frequency_hz / truth - 1, half = r->frequency_u95_hz / truth;
        std::printf(
            "%3.0f kHz interface, resonance %.1f kHz (%.2f times the band edge): error %+.3f %%, stated %.3f %%\n",
            limits.interface.rate_hz / 1e3, truth / 1e3, truth / sweep.band.high_hz, 100 * error, 100 * half);
        EXPECT_LE(std::abs(error), limits.error);  // the promised figure
        covered += std::abs(error) <= half ? 1 : 0;
        half_widths.push_back(half);
    }
    EXPECT_GE(covered, static_cast<int>(std::floor(0.93 * cases)));
    std::sort(half_widths.begin(), half_widths.end());
    EXPECT_LE(half_widths[half_widths.size() / 2], limits.half_width);
}

// 10 s: 58 periods of 2^15 frames, lines 5.9 Hz apart.
TEST(BelowBandNgspice, At192kHz) {
    check({{192000, 95e3, 300e3}, 32768, 58, 0.01, 0.01}, 6, 71);
}

TEST(BelowBandNgspice, At96kHz) {
    check({{96000, 60e3, 150e3}, 16384, 58, 0.02, 0.015}, 6, 72);
}

}  // namespace
}  // namespace coldtune
