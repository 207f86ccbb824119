// Resonances nobody chose, on grids and benches nobody chose: a fit of finite numbers, or a sentence why there is none.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>

#include "dsp/resonance_fit.hpp"
#include "dsp/resonance_model.hpp"
#include "tests/dsp/synthetic_bench.hpp"

namespace coldtune::dsp {
namespace {

using namespace synthetic;

class AnyResonance : public ::testing::TestWithParam<unsigned> {
protected:
    std::mt19937_64 random{GetParam()};
    double between(double low, double high) { return std::uniform_real_distribution<double>(low, high)(random); }
    double around(double low, double high) { return std::exp(between(std::log(low), std::log(high))); }
};

void expect_finite(const ResonanceFit& fit) {
    for (const double value : {fit.frequency_hz, fit.q, fit.resistance_ohm, fit.zero_reactance_hz,
                               fit.zero_reactance_u_hz, fit.q_u, fit.resistance_u_ohm})
        EXPECT_TRUE(std::isfinite(value) && value > 0) << value;
    for (const double value : {fit.background, fit.background_curvature, fit.offset, fit.tilt, fit.chi_square})
        EXPECT_TRUE(std::isfinite(value)) << value;
    EXPECT_TRUE(fit.covariance.allFinite());
    EXPECT_LE((fit.covariance - fit.covariance.transpose()).cwiseAbs().maxCoeff(),
              1e-12 * fit.covariance.cwiseAbs().maxCoeff());
    EXPECT_GE(fit.covariance.diagonal().minCoeff(), 0);
    EXPECT_LT(fit.window.low_hz, fit.window.high_hz);
    for (const auto& check : {fit.half_power_q, fit.phase_slope_q, fit.ringdown_q})
        EXPECT_TRUE(!check || std::isfinite(*check));
    for (const Peak& peak : fit.other_peaks)
        EXPECT_TRUE(std::isfinite(peak.frequency_hz) && std::isfinite(peak.height) && std::isfinite(peak.significance));
}

TEST_P(AnyResonance, IsFittedInNumbersOrRefusedInWords) {
    std::size_t fits = 0, near = 0;
    for (int round = 0; round < 12; ++round) {
        const bool series = round % 2 == 0;
        const double f0 = around(3e3, 80e3), q = around(2, 600), noise = around(1e-7, 1e-2);
        const double low = f0 * between(0.2, 1.1), high = f0 * between(1.0, 2.0);
        const auto bins = static_cast<std::size_t>(around(10, 4000));
        const SeriesBranch branch{f0, q, around(100, 20e3), around(1e-13, 300e-12)};
        const ParallelBranch tank{f0, q, around(1e3, 1e5), around(1e-7, 1e-4), around(1e-2, 10)};
        const Divider divider{around(1e3, 100e3), 1e6, 150e-12};
        SCOPED_TRACE(fmt::format("round {}: f0 {} Hz, Q {}, {} bins from {} to {} Hz, noise {}", round, f0, q, bins,
                                 low, std::max(high, 1.01 * low), noise));
        const auto grid = even_grid(low, std::max(high, 1.01 * low), bins);
        const Response response = respond(
            grid, [&](double f) { return divider.ratio(series ? branch.admittance(f) : tank.admittance(f), f); }, noise,
            random);
        const auto data = correct(response, {}, divider.declared());
        ASSERT_TRUE(data.ok());
        const auto outcome = fit_resonance(*data, series ? ResonanceForm::series : ResonanceForm::parallel);
        if (const auto* none = std::get_if<NoFit>(&outcome)) {
            EXPECT_FALSE(none->sentence.empty());
            continue;
        }
        const auto& fit = std::get<ResonanceFit>(outcome);
        expect_finite(fit);
        ++fits;
        if (std::abs(fit.frequency_hz - f0) < f0 / q) ++near;
    }
    EXPECT_GT(fits, 0U);
    // A peak of noise may be taken for one now and then; a resonance that is there is found within its own width.
    EXPECT_GE(near + 1, fits);
}

// What the fit walks by: the rows against the model bin by bin, the derivatives against differences, the sums against
// the rows. Every combination of terms, and numbers of bins that fill the last block and that do not.
TEST_P(AnyResonance, RowsAndSumsAreThoseOfTheModel) {
    for (const std::size_t count : {5U, 64U, 100U, 128U}) {
        for (int which = 0; which < 12; ++which) {
            const bool series = which % 3 == 0, loss = which % 3 == 2;
            const auto form = series ? ResonanceForm::series : ResonanceForm::parallel;
            const double f0 = around(3e3, 80e3), q = around(5, 500),
                         height = series ? around(1e-5, 1e-2) : around(1e2, 1e5);
            const ResonanceModel model(form, {(which / 3) % 2 == 1, which / 6 == 1}, loss, {f0, q, height, 0, 0, 0, 0});
            SCOPED_TRACE(fmt::format("{} bins, form {}, {} parameters, series loss {}", count,
                                     series ? "series" : "parallel", model.parameters(), loss));
            const SeriesBranch branch{f0, q, around(100, 20e3), around(1e-13, 300e-12)};
            const ParallelBranch tank{f0, q, around(1e3, 1e5), around(1e-7, 1e-4), around(1e-2, 10)};
            const Divider divider{around(1e3, 100e3), 1e6, 150e-12};
            const Response response = respond(
                even_grid(f0 * (1 - 1 / q), f0 * (1 + 1 / q), count),
                [&](double f) { return divider.ratio(series ? branch.admittance(f) : tank.admittance(f), f); }, 1e-3,
                random);
            const auto data = correct(response, {}, divider.declared());
            ASSERT_TRUE(data.ok());
            const auto bins = usable_bins(*data, form);
            const auto problem = model.problem(bins);
            Eigen::VectorXd theta = Eigen::VectorXd::Constant(model.parameters(), 0.01);
            theta(0) = between(-0.5, 0.5), theta(1) = between(-0.3, 0.3), theta(2) = between(0.5, 2);

            Eigen::VectorXd residuals(problem.residuals);
            Eigen::MatrixXd jacobian(problem.residuals, problem.parameters);
            problem.evaluate(theta.data(), residuals.data(), jacobian.data());
            for (std::size_t i = 0; i < bins.size(); ++i) {
                const auto& bin = bins[i];
                const Complex v = model.immittance(bin.frequency_hz, theta.data());
                const Complex off = bin.weight * ((bin.a + bin.b * v) / (bin.c + bin.d * v) - bin.ratio);
                const auto row = 2 * static_cast<Eigen::Index>(i);
                // Rounding of the ratio, in units of its noise.
                EXPECT_NEAR(residuals(row), off.real(), 1e-12 * bin.weight);
                EXPECT_NEAR(residuals(row + 1), off.imag(), 1e-12 * bin.weight);
            }
            for (Eigen::Index k = 0; k < problem.parameters; ++k) {
                Eigen::VectorXd up = theta, down = theta, above(problem.residuals), below(problem.residuals);
                up(k) += 1e-5, down(k) -= 1e-5;
                problem.evaluate(up.data(), above.data(), nullptr);
                problem.evaluate(down.data(), below.data(), nullptr);
                const Eigen::VectorXd slope = (above - below) / 2e-5;
                // The third derivative times the step squared, and rounding over the step.
                EXPECT_LT((slope - jacobian.col(k)).norm(), 1e-6 * jacobian.col(k).norm() + 1e-6) << k;
            }
            Eigen::MatrixXd rows(problem.residuals, problem.parameters + 1);
            rows << jacobian, residuals;
            const Eigen::MatrixXd sums = normal_sums(problem, theta.data()), products = rows.transpose() * rows;
            for (Eigen::Index k = 0; k <= problem.parameters; ++k)
                for (Eigen::Index l = 0; l <= problem.parameters; ++l)
                    EXPECT_NEAR(sums(k, l), products(k, l), 1e-12 * std::sqrt(products(k, k) * products(l, l)));
        }
    }
}

INSTANTIATE_TEST_SUITE_P(Seeds, AnyResonance, ::testing::Range(1U, 25U),
                         [](const auto& seed) { return "seed" + std::to_string(seed.param); });

}  // namespace
}  // namespace coldtune::dsp
