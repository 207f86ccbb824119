// The pair handed to ngspice as a circuit: the full matrices at the foot, and the two lumped circuits after the gap
// closes. ngspice is installed by ./tests/run; a machine without it fails here.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <complex>
#include <fstream>
#include <numbers>
#include <string>
#include <vector>

#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/model/primary.hpp"
#include "analyzer/model/spark_exchange.hpp"
#include "dsp/fft.hpp"
#include "tests/support/example_pair.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune::model {
namespace {

using Complex = std::complex<double>;

// Runs a deck and reads the columns of the file it wrote, as many as `columns`.
std::vector<std::vector<double>> columns_of(const std::string& deck, const testing::ScratchFolder& folder,
                                            const std::string& name, std::size_t columns) {
    const auto file = folder.put(name + ".cir", deck);
    const auto outcome = testing::run({"ngspice", "-b", file.string()}, std::chrono::seconds(60));
    std::ifstream in(folder / (name + ".txt"));
    std::vector<std::vector<double>> result(columns);
    for (double value = 0; in >> value;) {
        result[0].push_back(value);
        for (std::size_t c = 1; c < columns; ++c) {
            in >> value;
            result[c].push_back(value);
        }
    }
    EXPECT_FALSE(result[0].empty()) << "ngspice gave no answer; is it installed (apt-get install ngspice)? It said: "
                                    << outcome.output << outcome.errors;
    return result;
}

// Twelve sections: branch inductances with all mutual ones, resistances, capacitors between all nodes; the tank as a
// loop linked with every branch.
TEST(NgspicePair, FootAdmittanceOfTheMatrices) {
    constexpr std::size_t sections = 12;
    const CoilDescription coil = test::example_pair();
    auto built = SecondaryModel::build(coil, {.sections = sections, .convergence = 1e-3});
    ASSERT_TRUE(built);
    const auto secondary = std::make_shared<const SecondaryModel>(std::move(*built));
    const auto mutual = primary_section_mutual_h(*coil.primary, 11, coil.secondary, sections);
    const TankLoop tank{57e-6, 0.25, 100e-9};
    const CoupledPair pair(secondary, mutual, tank);

    const testing::ScratchFolder folder;
    for (const double f : {40e3, 61.7e3, 66e3, 70.8e3, 120e3}) {
        const auto& l = secondary->branch_inductance_h();
        const auto& c = secondary->node_capacitance_f();
        std::string deck = "coil with its tank\n";
        for (Eigen::Index k = 0; k < l.rows(); ++k) {
            deck += fmt::format("R{} v{} m{} {:.17g}\nL{} m{} v{} {:.17g}\n", k, k, k,
                                secondary->branch_resistance_ohm(f), k, k, k + 1, l(k, k));
            for (Eigen::Index j = 0; j < k; ++j) {
                deck += fmt::format("K{}_{} L{} L{} {:.17g}\n", k, j, k, j, l(k, j) / std::sqrt(l(k, k) * l(j, j)));
            }
            deck += fmt::format("KP{} L{} LP {:.17g}\n", k, k, mutual(k) / std::sqrt(l(k, k) * tank.inductance_h));
        }
        for (Eigen::Index k = 0; k < c.rows(); ++k) {
            deck += fmt::format("C{} v{} 0 {:.17g}\n", k, k, c.row(k).sum());
            for (Eigen::Index j = 0; j < k; ++j) deck += fmt::format("C{}_{} v{} v{} {:.17g}\n", k, j, k, j, -c(k, j));
        }
        deck += fmt::format("LP p 0 {:.17g}\nRP p q {:.17g}\nCP q 0 {:.17g}\nV1 v0 0 AC 1\n", tank.inductance_h,
                            tank.resistance_ohm, *tank.capacitance_f);
        deck += fmt::format(
            ".control\nset numdgt=14\nac lin 1 {:.17g} {:.17g}\nlet yr = -real(i(v1))\nlet yi = -imag(i(v1))\n"
            "wrdata {} yr yi\nquit\n.endc\n.end\n",
            f, f, (folder / "foot.txt").string());
        const auto got = columns_of(deck, folder, "foot", 4);  // frequency, real, frequency, imaginary
        const Complex there(got[1].at(0), got[3].at(0));
        EXPECT_LT(std::abs(pair.foot_admittance(f) / there - 1.0), 1e-6) << f;
    }
}

// --- after the gap closes

struct Trace {
    std::vector<double> time_s, primary, secondary;  // volts, one volt on the tank at the start; secondary in units of
                                                     // sqrt(C1/C2)
};

// 200 steps a cycle of the trapezoidal rule: its frequency is low by (w h)^2 / 12 = 8e-5.
Trace transient(const TwoCircuits& c, double cycles, const testing::ScratchFolder& folder) {
    const double l1 = 50e-6, l2 = 0.1;
    const double c1 = 1 / (std::pow(kTwoPi * c.primary_hz, 2) * l1),
                 c2 = 1 / (std::pow(kTwoPi * c.secondary_hz, 2) * l2);
    const double step = 1 / (200 * c.primary_hz), end = cycles / c.primary_hz;
    const std::string deck = fmt::format(
        "after the gap closes\nC1 a 0 {:.17g} IC=1\nR1 a b {:.17g}\nL1 b 0 {:.17g} IC=0\nL2 0 d {:.17g} IC=0\n"
        "R2 d e {:.17g}\nC2 e 0 {:.17g} IC=0\nK1 L1 L2 {:.17g}\n.options reltol=1e-6 abstol=1e-15 vntol=1e-12\n"
        ".control\nset numdgt=12\ntran {:.17g} {:.17g} 0 {:.17g} uic\nlinearize\nwrdata {} v(a) "
        "v(e)\nquit\n.endc\n.end\n",
        c1, kTwoPi * c.primary_hz * l1 / c.primary_q, l1, l2, kTwoPi * c.secondary_hz * l2 / c.secondary_q, c2, c.k,
        step, end, step, (folder / "run.txt").string());
    auto got = columns_of(deck, folder, "run", 4);
    Trace run{got[0], got[1], got[3]};
    for (double& v : run.secondary) v /= std::sqrt(c1 / c2);
    return run;
}

// Envelope by the analytic signal (Hilbert transform through the Fourier transform). The voltages begin flat (no
// current flows yet), so the even continuation to negative times is smooth; the far end is faded out.
std::vector<double> envelope(const std::vector<double>& v) {
    const std::size_t n = v.size();
    std::vector<Complex> signal(2 * n);
    for (std::size_t i = 0; i < n; ++i) {
        const double fade = std::clamp((static_cast<double>(n - 1 - i)) / (0.2 * static_cast<double>(n)), 0.0, 1.0);
        const double value = v[i] * 0.5 * (1 - std::cos(std::numbers::pi * fade));
        signal[i] = value;
        signal[(2 * n - i) % (2 * n)] = value;
    }
    dsp::ComplexFft fft(2 * n);
    fft.forward(signal, signal);
    for (std::size_t i = 1; i < n; ++i) signal[i] *= 2.0;
    for (std::size_t i = n + 1; i < 2 * n; ++i) signal[i] = 0;
    fft.inverse(signal, signal);
    std::vector<double> result(n);
    for (std::size_t i = 0; i < n; ++i) result[i] = std::abs(signal[i]);
    return result;
}

TEST(NgspicePair, EnergyExchangeAfterTheGapCloses) {
    const testing::ScratchFolder folder;
    for (const TwoCircuits& c : {TwoCircuits{100e3, 100e3, 60, 150, 0.1}, TwoCircuits{100e3, 100e3, 30, 200, 0.2},
                                 TwoCircuits{100e3, 95e3, 80, 120, 0.12}, TwoCircuits{100e3, 106e3, 40, 60, 0.15},
                                 TwoCircuits{250e3, 250e3, 100, 250, 0.06}}) {
        const std::string which =
            fmt::format("f2/f1 {} Q {} {} k {}", c.secondary_hz / c.primary_hz, c.primary_q, c.secondary_q, c.k);
        const auto figures = spark_exchange(c);
        ASSERT_TRUE(figures);
        ASSERT_GE(figures->exchanges.size(), 3U);
        const Trace run = transient(c, 5 / c.k, folder);
        ASSERT_GT(run.time_s.size(), 1000U);
        const double step = run.time_s[1] - run.time_s[0];

        // Sample by sample. The trapezoidal rule's error of phase, 8e-5 of 2 pi each cycle, over 5/k cycles.
        const auto here = spark_waveforms(c, run.time_s);
        ASSERT_TRUE(here);
        double worst = 0, signs = 0;
        for (std::size_t i = 0; i < run.time_s.size(); ++i) signs += run.secondary[i] * here->secondary_voltage[i];
        const double sign = signs < 0 ? -1 : 1;  // of the winding's sense
        for (std::size_t i = 0; i < run.time_s.size(); ++i) {
            worst = std::max({worst, std::abs(run.primary[i] - here->primary_voltage[i]),
                              std::abs(sign * run.secondary[i] - here->secondary_voltage[i])});
        }
        EXPECT_LT(worst, 8e-5 * kTwoPi * 5 / c.k) << which;

        // The first notch and the two exchanges after it, from ngspice's own envelopes.
        const auto primary = envelope(run.primary), secondary = envelope(run.secondary);
        for (std::size_t n = 0; n < 3; ++n) {
            const Exchange& e = figures->exchanges[n];
            const auto around = static_cast<std::size_t>(e.time_s / step);
            const auto reach = static_cast<std::size_t>(0.3 * figures->exchanges[0].time_s / step);
            std::size_t best = around - reach;
            for (std::size_t i = around - reach; i < std::min(around + reach, primary.size()); ++i) {
                const bool better = e.to_secondary ? primary[i] < primary[best] : primary[i] > primary[best];
                if (better) best = i;
            }
            // 1 % of time and 2 % of the starting energy: what is promised. A return is a flat top, sought at half a
            // sample in a curve of 1e-4: a per cent there as well.
            EXPECT_NEAR(run.time_s[best] / e.time_s, 1, 0.01) << which << " exchange " << n;
            EXPECT_NEAR(primary[best] * primary[best], e.primary_share, 0.02) << which << " exchange " << n;
            EXPECT_NEAR(secondary[best] * secondary[best], e.secondary_share, 0.02) << which << " exchange " << n;
            if (n == 0) {
                RecordProperty("notch_time_" + which, std::to_string(run.time_s[best] / e.time_s - 1));
                RecordProperty("notch_energy_" + which,
                               std::to_string(secondary[best] * secondary[best] - e.secondary_share));
            }
        }
        double peak = 0;
        for (const double v : run.secondary) peak = std::max(peak, std::abs(v));
        EXPECT_NEAR(peak / figures->secondary_peak, 1, 2e-3) << which;  // 200 samples a cycle: 1e-4, and the phase
    }
}

}  // namespace
}  // namespace coldtune::model
