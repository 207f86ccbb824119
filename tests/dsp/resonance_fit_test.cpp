#include "dsp/resonance_fit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "dsp/least_squares.hpp"
#include "dsp/statistics.hpp"
#include "tests/dsp/synthetic_bench.hpp"

namespace {

using namespace coldtune;
using namespace coldtune::dsp;
using namespace coldtune::dsp::synthetic;

constexpr double quiet = 1e-9;  // rms error of the ratio where the noise is not the subject
constexpr double usual = 1e-3;  // a noisy bench

// The admittance behind a divider, with this noise, corrected by what is declared.
template <typename Admittance>
CorrectedResponse observe(const Admittance& admittance, const std::vector<double>& grid, double noise,
                          unsigned seed = 1) {
    std::mt19937_64 random(seed);
    const Divider divider;
    auto response = respond(
        grid, [&](double f) { return divider.ratio(admittance(f), f); }, noise, random);
    return *correct(response, {}, divider.declared());
}

ResonanceFit fitted(const FitOutcome& outcome) {
    if (const auto* refusal = std::get_if<NoFit>(&outcome)) {
        ADD_FAILURE() << refusal->sentence;
        return {};
    }
    return std::get<ResonanceFit>(outcome);
}

std::string refusal(const FitOutcome& outcome, NoFit::Reason reason) {
    const auto* refused = std::get_if<NoFit>(&outcome);
    if (refused == nullptr) {
        return "was fitted at " + std::to_string(std::get<ResonanceFit>(outcome).frequency_hz);
    }
    if (refused->sentence.empty()) return "without a sentence";
    return refused->reason == reason ? "" : "for another reason: " + refused->sentence;
}

// Zero of the imaginary part by bisection.
template <typename Immittance>
double zero_between(const Immittance& immittance, double low, double high) {
    const bool rising = immittance(low).imag() < 0;
    for (int i = 0; i < 200; ++i) {
        const double middle = (low + high) / 2;
        ((immittance(middle).imag() < 0) == rising ? low : high) = middle;
    }
    return low;
}

TEST(ResonanceFit, NoBiasWithoutNoiseSeries) {
    for (const double q : {5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0}) {
        const SeriesBranch branch{37e3, q, 2e3, 22e-12};
        const auto data = observe([&](double f) { return branch.admittance(f); },
                                  even_grid(37e3 * (1 - std::min(0.9, 8 / q)), 37e3 * (1 + 8 / q), 601), 1e-13);
        const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
        // Required. What remains is rounding and the solver's stop, both under 1e-10.
        EXPECT_NEAR(fit.frequency_hz / branch.f0, 1, 1e-9) << q;
        EXPECT_NEAR(fit.q / q, 1, 1e-9) << q;
        EXPECT_NEAR(fit.resistance_ohm / branch.resistance, 1, 1e-9) << q;
        EXPECT_NEAR(fit.background / branch.shunt_capacitance, 1, 1e-6) << q;
        EXPECT_EQ(fit.background_curvature, 0) << q;
        EXPECT_EQ(fit.tilt, 0) << q;
    }
}

TEST(ResonanceFit, NoBiasWithoutNoiseParallel) {
    for (const double q : {5.0, 20.0, 100.0, 500.0}) {
        const ParallelBranch branch{37e3, q, 30e3, 200e-6, 4};
        const auto data = observe([&](double f) { return branch.admittance(f); },
                                  even_grid(37e3 * (1 - std::min(0.9, 8 / q)), 37e3 * (1 + 8 / q), 601), 1e-13);
        const auto fit = fitted(fit_resonance(data, ResonanceForm::parallel));
        EXPECT_NEAR(fit.frequency_hz / branch.f0, 1, 1e-9) << q;  // as above
        EXPECT_NEAR(fit.q / q, 1, 1e-9) << q;
        EXPECT_NEAR(fit.resistance_ohm / branch.resistance, 1, 1e-9) << q;
        EXPECT_NEAR(fit.background / branch.lead_inductance, 1, 1e-6) << q;
        EXPECT_NEAR(fit.offset, branch.lead_resistance, 1e-5) << q;
    }
}

// A low resistance through a large reference: at the top the conductance is known 10^5 times worse than elsewhere.
TEST(ResonanceFit, ATopFarNoisierThanItsFlanksIsFound) {
    std::mt19937_64 random(26);
    const SeriesBranch branch{36527, 313, 10.6, 5e-12};
    const Divider divider;
    const auto grid = even_grid(1000, 86400, 58300);
    for (int run = 0; run < 5; ++run) {
        const Response response = respond(
            grid, [&](double f) { return divider.ratio(branch.admittance(f), f); }, 1e-5, random);
        const auto data = correct(response, {}, divider.declared());
        ASSERT_TRUE(data.ok());
        const auto outcome = fit_resonance(*data, ResonanceForm::series);
        const auto* fit = std::get_if<ResonanceFit>(&outcome);
        ASSERT_NE(fit, nullptr) << std::get<NoFit>(outcome).sentence;
        EXPECT_NEAR(fit->frequency_hz, branch.f0, 5 * std::sqrt(fit->covariance(0, 0)));
        EXPECT_NEAR(fit->q, branch.q, 5 * fit->q_u);
        EXPECT_TRUE(fit->other_peaks.empty());
    }
}

// NPL Report MAT 58 (A. P. Gregory, 2021; its equations read in a secondary copy): the approximation
// t = 2 (f - f0)/f0 in place of f/f0 - f0/f is stated for Q above 100. Its bias on an exact second-order resonance,
// computed independently: df/f = -1/(8 Q^2), dQ/Q = +0.18/Q^2 over two bandwidths either side. Here the approximate
// model shows that bias on the same data on which the fit shows none.
TEST(ResonanceFit, NoBiasOfTheApproximateDetuning) {
    for (const double q : {20.0, 100.0, 500.0}) {
        const SeriesBranch branch{50e3, q, 1e3, 0};
        const auto grid = even_grid(50e3 * (1 - 2 / q), 50e3 * (1 + 2 / q), 401);
        LeastSquaresProblem approximate;
        approximate.residuals = 2 * static_cast<Eigen::Index>(grid.size());
        approximate.parameters = 6;  // shift of f0 in bandwidths, Q relative, m1 .. m4 of the report's equation 21
        approximate.evaluate = [&](const double* p, double* residuals, double* jacobian) {
            const auto model = [&](const std::array<double, 6>& a, double f) {
                const double f0 = branch.f0 * (1 + a[0] / q);
                return Complex{a[2], a[3]} + Complex{a[4], a[5]} / Complex{1.0, 2 * q * a[1] * (f - f0) / f0};
            };
            std::array<double, 6> at{};
            std::copy(p, p + 6, at.begin());
            for (std::size_t i = 0; i < grid.size(); ++i) {
                const double f = grid[i];
                const Complex r = 1e6 * (model(at, f) - branch.resistance * branch.admittance(f));
                residuals[2 * i] = r.real();
                residuals[2 * i + 1] = r.imag();
                if (jacobian == nullptr) continue;
                for (std::size_t k = 0; k < 6; ++k) {
                    auto up = at, down = at;
                    up[k] += 1e-6;
                    down[k] -= 1e-6;
                    const Complex slope = 1e6 * (model(up, f) - model(down, f)) / 2e-6;
                    jacobian[k * 2 * grid.size() + 2 * i] = slope.real();
                    jacobian[k * 2 * grid.size() + 2 * i + 1] = slope.imag();
                }
            }
        };
        Eigen::VectorXd start(6);
        start << 0, 1, 0, 0, 1, 0;
        const auto biased = minimise(approximate, start);
        ASSERT_TRUE(biased && biased->converged());
        // The factors are given to two digits, and the next order is smaller by 1/Q.
        EXPECT_NEAR(biased->parameters(0) * q, -1.0 / 8, 0.005 + 0.2 / q) << q;
        EXPECT_NEAR((biased->parameters(1) - 1) * q * q, 0.18, 0.01 + 1 / q) << q;

        const auto data = observe([&](double f) { return branch.admittance(f); }, grid, 1e-13);
        const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
        EXPECT_NEAR(fit.frequency_hz / branch.f0, 1, 1e-9);
        EXPECT_NEAR(fit.q / q, 1, 1e-9);
    }
}

// Second-order circuit (textbook; values computed independently): half-power points of Q = 10 at 0.951249220 and
// 1.051249220 f0, f1 f2 = f0^2, f2 - f1 = f0/Q.
TEST(ResonanceFit, HalfPowerPointsOfTheFittedCircuit) {
    const SeriesBranch branch{10e3, 10, 1e3, 0};
    const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(4e3, 22e3, 901), 1e-13);
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    const auto half = [&](double f) {
        // Conductance of the fitted parameters at f, relative to half its top.
        const double u = fit.q * (f / fit.frequency_hz - fit.frequency_hz / f);
        return 2 / (1 + u * u);
    };
    EXPECT_NEAR(half(9512.49220), 1, 1e-7);  // the points are given to 1e-9, the flank's slope is Q
    EXPECT_NEAR(half(10512.49220), 1, 1e-7);
    ASSERT_TRUE(fit.half_power_q);
    EXPECT_NEAR(*fit.half_power_q, 10, 1e-5);  // local parabolas of the reciprocal, exact up to f against u
}

TEST(ResonanceFit, CrossChecksAgreeOnACleanResonance) {
    for (const double q : {8.0, 40.0, 300.0}) {
        const SeriesBranch branch{37e3, q, 2e3, 22e-12};
        const auto data = observe([&](double f) { return branch.admittance(f); },
                                  even_grid(37e3 * (1 - std::min(0.9, 7 / q)), 37e3 * (1 + 7 / q), 701), quiet);
        const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
        ASSERT_TRUE(fit.half_power_q && fit.phase_slope_q && fit.ringdown_q) << q;
        EXPECT_NEAR(*fit.half_power_q / q, 1, 1e-5) << q;
        EXPECT_NEAR(*fit.phase_slope_q / q, 1, 1e-5) << q;
        // The window still holds 1e-3 of its rise when the line through the decay begins.
        EXPECT_NEAR(*fit.ringdown_q / q, 1, 2e-3) << q;
    }
}

TEST(ResonanceFit, CrossChecksThatCannotBeFormedAreEmpty) {
    const SeriesBranch branch{37e3, 100, 2e3, 22e-12};
    const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(36e3, 38e3, 20), quiet);
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    EXPECT_FALSE(fit.half_power_q);  // three or four bins in the upper half of the peak are no flank
    EXPECT_FALSE(fit.ringdown_q);
}

TEST(ResonanceFit, ZeroOfTheReactance) {
    // The shunt capacitance moves the zero of the reactance above the branch's own resonance.
    const SeriesBranch branch{40e3, 30, 2e3, 50e-12};
    const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(30e3, 52e3, 800), quiet);
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    const double zero = zero_between([&](double f) { return branch.admittance(f); }, 40e3, 40.5e3);
    EXPECT_GT(zero, 40.01e3);
    EXPECT_NEAR(fit.zero_reactance_hz / zero, 1, 1e-8);  // noise of 1e-9 over several hundred bins
    // So much capacitance that the reactance has no zero: the branch's own frequency stands.
    const SeriesBranch drowned{40e3, 30, 2e3, 2.5e-9};
    const auto other = observe([&](double f) { return drowned.admittance(f); }, even_grid(30e3, 52e3, 800), quiet);
    const auto without = fitted(fit_resonance(other, ResonanceForm::series));
    EXPECT_EQ(without.zero_reactance_hz, without.frequency_hz);
    EXPECT_NEAR(without.frequency_hz / 40e3, 1, 1e-7);
}

TEST(ResonanceFit, UncertaintyOfTheZeroOfTheReactance) {
    const SeriesBranch branch{40e3, 30, 2e3, 50e-12};
    const auto grid = even_grid(32e3, 50e3, 200);
    const double zero = zero_between([&](double f) { return branch.admittance(f); }, 40e3, 40.5e3);
    constexpr int runs = 600;
    RunningMoments moments, stated;
    for (unsigned run = 0; run < runs; ++run) {
        const auto fit = fitted(fit_resonance(
            observe([&](double f) { return branch.admittance(f); }, grid, usual, 500 + run), ResonanceForm::series));
        moments.add(fit.zero_reactance_hz);
        stated.add(fit.zero_reactance_u_hz);
    }
    // Standard deviation of a standard deviation from 600 runs: 2.9 %; four of them.
    EXPECT_NEAR(std::sqrt(*moments.variance()) / stated.mean(), 1, 0.12);
    EXPECT_NEAR(moments.mean(), zero, 4 * *moments.standard_uncertainty());
}

// A uniform line open at its far end, the simplest coil: foot admittance tanh(gamma l)/Z_c with series resistance,
// gamma = sqrt((r + jwL) jwC), Z_c = sqrt((r + jwL)/(jwC)) (telegraph equations, textbook). The fit knows one mode and
// a background. Checked at the zero of the reactance of the line itself, within the 100 ppm asked of the whole program;
// r grows with the root of frequency as skin effect makes it.
TEST(ResonanceFit, DistributedLine) {
    for (const bool skin : {false, true}) {
        for (const double q : {20.0, 50.0, 100.0, 400.0}) {
            const auto admittance = [&](double f) {
                const Complex s = j * (std::numbers::pi / 2 * f / 40e3);
                const Complex series = s + std::numbers::pi / 2 / q * (skin ? std::sqrt(f / 40e3) : 1.0);
                return std::tanh(std::sqrt(series * s)) * std::sqrt(s / series) / 30e3;
            };
            const double zero = zero_between(admittance, 38e3, 42e3);
            for (const double noise : {1e-7, 1e-5}) {
                const auto fit = fitted(
                    fit_resonance(observe(admittance, even_grid(40e3 * (1 - 8 / q), 40e3 * (1 + 8 / q), 1000), noise),
                                  ResonanceForm::series));
                EXPECT_NEAR(fit.zero_reactance_hz / zero, 1, 1e-5) << q << ' ' << noise;
                // Q of the line at resonance, wL/r; the root-of-frequency loss bends it by a part in Q^2.
                EXPECT_NEAR(fit.q / q, 1, 2e-3) << q << ' ' << noise;
            }
        }
    }
}

TEST(ResonanceFit, CurvatureOnlyWhereTheDataDemandIt) {
    const SeriesBranch branch{40e3, 20, 2e3, 0};
    const auto bent = [&](double f) {
        return branch.admittance(f) + j * (two_pi * f * 60e-12 * (1 + 0.2 * std::pow(f / 40e3, 2)));
    };
    const auto grid = even_grid(26e3, 56e3, 600);
    const auto fit = fitted(fit_resonance(observe(bent, grid, 1e-6), ResonanceForm::series));
    // Parameters of the construction; the tolerances are five of the fit's own standard uncertainties, checked to be
    // small.
    const double b_u = std::sqrt(fit.covariance(4, 4));
    EXPECT_LT(b_u, 0.002);
    EXPECT_NEAR(fit.background_curvature, 0.2, 5 * b_u);
    EXPECT_NEAR(fit.background, 60e-12, 5 * std::sqrt(fit.covariance(3, 3)));
    EXPECT_NEAR(fit.frequency_hz, 40e3, 5 * std::sqrt(fit.covariance(0, 0)));
    EXPECT_NEAR(fit.q, 20, 5 * fit.q_u);
    // Drowned in noise it is not freed, and its row of the covariance is zero.
    const auto coarse = fitted(fit_resonance(observe(bent, grid, 0.1), ResonanceForm::series));
    EXPECT_EQ(coarse.background_curvature, 0);
    EXPECT_EQ(coarse.covariance.row(4).norm(), 0);
}

// A tank: L in series with r, across C. Exact elements; f0 = 1/(2 pi sqrt(L C)) by definition.
TEST(ResonanceFit, TankWithItsLossInTheCoil) {
    for (const double q : {15.0, 60.0, 250.0}) {
        const double f0 = 40e3, inductance = 80e-6;
        const double capacitance = 1 / (std::pow(two_pi * f0, 2) * inductance);
        const double r = two_pi * f0 * inductance / q;
        const auto admittance = [&](double f) {
            const Complex s = j * (two_pi * f);
            return s * capacitance + 1.0 / (r + s * inductance);
        };
        const auto data = observe(admittance, even_grid(f0 * (1 - 7 / q * 0.9), f0 * (1 + 7 / q), 700), 1e-11);
        FitOptions options;
        options.series_loss = true;
        const auto fit = fitted(fit_resonance(data, ResonanceForm::parallel, options));
        // Noise of 1e-11 on a ratio of 1e-2 or less (a few hundred ohm behind 10 kohm), divided by Q.
        EXPECT_NEAR(fit.frequency_hz / f0, 1, 1e-8) << q;
        EXPECT_NEAR(fit.q / q, 1, 1e-7) << q;
        EXPECT_NEAR(fit.resistance_ohm / (q * q * r), 1, 1e-7) << q;
        EXPECT_EQ(fit.tilt, 0);
        // Without being told, the fit finds the turned circle by itself.
        const auto untold = fitted(fit_resonance(data, ResonanceForm::parallel));
        EXPECT_NEAR(untold.tilt, 1 / q, 1e-3 / q) << q;
        EXPECT_NEAR(untold.frequency_hz / f0, 1, 1e-7) << q;
    }
}

TEST(ResonanceFit, SeveralPeaksStrongestFirst) {
    const SeriesBranch first{20e3, 60, 3e3, 20e-12}, second{35e3, 60, 1e3, 0}, third{60e3, 80, 5e3, 0};
    const auto sum = [&](double f) { return first.admittance(f) + second.admittance(f) + third.admittance(f); };
    for (const double noise : {1e-6, 1e-3}) {
        const auto data = observe(sum, even_grid(2e3, 85e3, 6000), noise);
        const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
        // Neighbours' tails: at 15 kHz distance each adds an admittance 1/(3e3 * 60 * 1.2) to 1e-3; the part of it that
        // is no background over the window is smaller by the bandwidth over the distance.
        EXPECT_NEAR(fit.frequency_hz / 35e3, 1, 2e-5);
        EXPECT_NEAR(fit.q / 60, 1, 2e-3);
        ASSERT_EQ(fit.other_peaks.size(), 2U);
        EXPECT_NEAR(fit.other_peaks[0].frequency_hz / 20e3, 1, 1e-4);
        EXPECT_NEAR(fit.other_peaks[1].frequency_hz / 60e3, 1, 1e-4);
        EXPECT_NEAR(fit.other_peaks[0].height, 1 / 3e3, 1e-5);
        EXPECT_NEAR(fit.other_peaks[1].height, 1 / 5e3, 1e-5);
        EXPECT_GT(fit.other_peaks[0].significance, 6);
        EXPECT_EQ(find_peaks(data, ResonanceForm::series).size(), 3U);
    }
}

TEST(ResonanceFit, ALowPeakSpreadOverManyBins) {
    // Per bin the peak (1/150 kohm) is lower than the standard deviation of the conductance, 0.1/sqrt(2)/(10 kohm m^2)
    // with m = 0.93: 0.8 of it. Over its 670 bins it is plain.
    const SeriesBranch branch{40e3, 6, 150e3, 1e-12};
    int found = 0;
    for (unsigned seed = 1; seed <= 20; ++seed) {
        const auto data =
            observe([&](double f) { return branch.admittance(f); }, even_grid(5e3, 85e3, 8000), 0.1, seed);
        const auto outcome = fit_resonance(data, ResonanceForm::series);
        const auto* fit = std::get_if<ResonanceFit>(&outcome);
        if (fit == nullptr) continue;
        ++found;
        EXPECT_NEAR(fit->frequency_hz, 40e3, 5 * std::sqrt(fit->covariance(0, 0)));
        EXPECT_NEAR(fit->q, 6, 5 * fit->q_u);
    }
    EXPECT_EQ(found, 20);
}

TEST(ResonanceFit, NoPeakInNoise) {
    for (unsigned seed = 1; seed <= 60; ++seed) {
        const auto data = observe(
            [](double f) {
                return Complex{1e-7, two_pi * f * 30e-12};
            },
            even_grid(1e3, 86e3, 3000), 1e-2, seed);
        // Six standard deviations: one false peak in 1e9 places and widths; here about 1e6 are tried.
        EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::no_peak), "") << seed;
    }
}

TEST(ResonanceFit, ASpoiledBinIsNoPeak) {
    auto data = observe([](double f) { return Complex{1e-7, two_pi * f * 30e-12}; }, even_grid(1e3, 86e3, 3000), usual);
    data.ratio[1700] -= 0.2;  // a whistle, two hundred standard deviations, its variance pooled away
    EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::no_peak), "");
}

TEST(ResonanceFit, ASpoiledBinInThePeakIsLeftOut) {
    const SeriesBranch branch{40e3, 50, 2e3, 20e-12};
    const auto grid = even_grid(34e3, 46e3, 400);
    auto data = observe([&](double f) { return branch.admittance(f); }, grid, usual);
    const auto clean = fitted(fit_resonance(data, ResonanceForm::series));
    data.ratio[205] += Complex{0.1, 0.15};
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    EXPECT_EQ(fit.degrees_of_freedom, clean.degrees_of_freedom - 2);
    // One bin of a hundred near the top carries about a tenth of a standard deviation.
    EXPECT_NEAR(fit.frequency_hz, clean.frequency_hz, std::sqrt(clean.covariance(0, 0)));
    EXPECT_NEAR(fit.q, clean.q, clean.q_u);
}

TEST(ResonanceFit, NoisyBinsAreNoPeak) {
    // A stretch of data with thirty times the noise, and a variance that says so.
    std::mt19937_64 random(5);
    const Divider divider;
    const auto grid = even_grid(1e3, 86e3, 3000);
    auto response = respond(
        grid, [&](double f) { return divider.ratio(j * (two_pi * f * 30e-12), f); }, usual, random);
    std::normal_distribution<double> normal(0, 30 * usual / std::sqrt(2.0));
    for (std::size_t i = 1000; i < 1200; ++i) {
        response.ratio[i] += Complex{normal(random), normal(random)};
        response.variance[i] *= 901;
    }
    const auto data = *correct(response, {}, divider.declared());
    EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::no_peak), "");
}

TEST(ResonanceFit, ResonanceOutsideTheData) {
    for (const double f0 : {86.2e3, 90e3, 120e3}) {
        for (const double noise : {1e-6, 1e-4}) {
            const SeriesBranch branch{f0, 60, 2e3, 20e-12};
            const auto data =
                observe([&](double f) { return branch.admittance(f); }, even_grid(1e3, 86e3, 4000), noise);
            EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::at_band_edge), "") << f0;
        }
    }
    const SeriesBranch below{9.8e3, 40, 2e3, 20e-12};
    const auto data = observe([&](double f) { return below.admittance(f); }, even_grid(10e3, 80e3, 4000), 1e-5);
    EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::at_band_edge), "");
}

TEST(ResonanceFit, TooFewBinsAcrossThePeak) {
    for (const double q : {200.0, 600.0, 3000.0}) {
        const SeriesBranch branch{40.03e3, q, 2e3, 20e-12};
        const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(1e3, 86e3, 1000), 1e-5);
        EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::too_coarse), "") << q;
        // It is still found, so that a second sweep can be concentrated there: within two bins.
        const auto peaks = find_peaks(data, ResonanceForm::series);
        ASSERT_FALSE(peaks.empty()) << q;
        EXPECT_NEAR(peaks.front().frequency_hz, branch.f0, 2 * 85.0) << q;
    }
    EXPECT_EQ(refusal(fit_resonance(CorrectedResponse{}, ResonanceForm::series), NoFit::Reason::too_coarse), "");
}

TEST(ResonanceFit, TwoPeaksThatTouch) {
    // Bandwidths are 670 Hz. Closer than that the sum has one top and passes for one resonance if it fits to a tenth;
    // further apart both are named; what the weaker does to the stronger stays under a tenth of a bandwidth, what the
    // stronger does to the weaker (which is only named) under a quarter.
    for (const double apart : {200.0, 300.0, 450.0, 700.0, 1000.0, 1400.0, 2000.0}) {
        const SeriesBranch first{40e3, 60, 2e3, 20e-12}, second{40e3 + apart, 60, 2.5e3, 0};
        const auto data = observe([&](double f) { return first.admittance(f) + second.admittance(f); },
                                  even_grid(30e3, 52e3, 3000), 1e-5);
        const auto outcome = fit_resonance(data, ResonanceForm::series);
        const auto* fit = std::get_if<ResonanceFit>(&outcome);
        if (apart < 600) {
            if (fit != nullptr) {
                EXPECT_GT(fit->frequency_hz, 40e3) << apart;
                EXPECT_LT(fit->frequency_hz, 40e3 + apart) << apart;
            }
            continue;
        }
        EXPECT_EQ(find_peaks(data, ResonanceForm::series).size(), 2U) << apart;
        if (fit == nullptr) continue;
        ASSERT_EQ(fit->other_peaks.size(), 1U) << apart;
        EXPECT_NEAR(fit->frequency_hz, 40e3, 0.1 * 40e3 / 60) << apart;
        EXPECT_NEAR(fit->other_peaks[0].frequency_hz, 40e3 + apart, 0.25 * 40e3 / 60) << apart;
    }
}

TEST(ResonanceFit, AFlatToppedHumpIsRefused) {
    // No resonance of second order: a conductance like exp(-x^4), with no phase to go with it.
    const auto hump = [](double f) { return Complex{1e-3 * std::exp(-std::pow((f - 40e3) / 2e3, 4)), 0}; };
    const auto data = observe(hump, even_grid(20e3, 60e3, 2000), 1e-5);
    EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::does_not_describe), "");
}

TEST(ResonanceFit, AHumpWiderThanItsFrequencyIsNoResonance) {
    // Q of 0.1 and 0.2: the circuit is overdamped, nothing rings.
    for (const double q : {0.1, 0.2}) {
        const SeriesBranch branch{20e3, q, 2e3, 20e-12};
        const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(1e3, 86e3, 3000), 1e-5);
        EXPECT_EQ(refusal(fit_resonance(data, ResonanceForm::series), NoFit::Reason::did_not_converge), "") << q;
    }
}

TEST(ResonanceFit, VarianceOfZeroIsNoInfiniteWeight) {
    // Periods that repeat to the last bit: a noiseless stream. Rounded to 24 bits, as a converter would.
    const SeriesBranch branch{40e3, 50, 2e3, 20e-12};
    auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(34e3, 46e3, 400), 0);
    for (std::size_t i = 0; i < data.ratio.size(); ++i) {
        const auto round = [](double x) { return std::ldexp(std::round(std::ldexp(x, 23)), -23); };
        data.ratio[i] = {round(data.ratio[i].real()), round(data.ratio[i].imag())};
        data.ratio_variance[i] = 0;
    }
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    // A step of 1.2e-7 over 100 bins near the top, where the ratio changes by about 1.
    EXPECT_NEAR(fit.frequency_hz / branch.f0, 1, 1e-8);
    EXPECT_NEAR(fit.q / branch.q, 1, 1e-6);
}

TEST(ResonanceFit, WideSweepFindsItsOwnWindow) {
    const SeriesBranch branch{30e3, 80, 2e3, 25e-12};
    const auto data = observe([&](double f) { return branch.admittance(f); }, even_grid(1e3, 86e3, 8000), 1e-4);
    const auto fit = fitted(fit_resonance(data, ResonanceForm::series));
    EXPECT_NEAR(fit.frequency_hz, 30e3, 5 * std::sqrt(fit.covariance(0, 0)));
    EXPECT_NEAR(fit.q, 80, 5 * fit.q_u);
    const double bandwidth = 30e3 / 80;
    EXPECT_LT(fit.window.low_hz, 30e3 - 5 * bandwidth);
    EXPECT_GT(fit.window.high_hz, 30e3 + 5 * bandwidth);
    EXPECT_GT(fit.window.low_hz, 30e3 - 14 * bandwidth);
    EXPECT_LT(fit.window.high_hz, 30e3 + 16 * bandwidth);
    EXPECT_TRUE(fit.other_peaks.empty());
}

}  // namespace
