#include "dsp/statistics.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace {

using namespace coldtune::dsp;

TEST(RunningMoments, UnknownBelowTwoSamples) {
    RunningMoments moments;
    EXPECT_FALSE(moments.variance());
    moments.add(3);
    EXPECT_EQ(moments.mean(), 3);
    EXPECT_FALSE(moments.variance());
    EXPECT_FALSE(moments.standard_uncertainty());
    moments.add(3);
    ASSERT_TRUE(moments.variance());
    EXPECT_EQ(*moments.variance(), 0);
}

TEST(RunningMoments, SmallScatterOnALargeValue) {
    // Millihertz on 150 kHz, where a sum of squares minus the square of the sum has no digit left. Values that are
    // exact in binary, so the expected variance is too: offsets -2..2 times 2^-10, variance 10/4 * 2^-20.
    RunningMoments moments;
    for (int i = -2; i <= 2; ++i) moments.add(150000.0 + i * std::ldexp(1.0, -10));
    ASSERT_TRUE(moments.variance());
    // Rounding of the mean at 150 kHz is 3e-11, seven digits below the scatter.
    EXPECT_NEAR(*moments.variance(), 2.5 * std::ldexp(1.0, -20), 1e-6 * std::ldexp(1.0, -20));
    EXPECT_NEAR(*moments.standard_uncertainty(), std::sqrt(0.5) * std::ldexp(1.0, -10), 1e-6 * std::ldexp(1.0, -10));
}

TEST(MeansOf, NeedsTwoSets) {
    EXPECT_FALSE(means_of(Eigen::MatrixXd::Ones(1, 3)));
    EXPECT_FALSE(means_of(Eigen::MatrixXd(2, 0)));
    EXPECT_TRUE(means_of(Eigen::MatrixXd::Ones(2, 3)));
}

TEST(MeansOf, AgreesWithTheSingleColumn) {
    Eigen::MatrixXd observations(4, 2);
    observations << 1, 10, 2, 12, 4, 11, 5, 15;
    const auto means = means_of(observations);
    ASSERT_TRUE(means);
    for (Eigen::Index k = 0; k < 2; ++k) {
        RunningMoments moments;
        for (Eigen::Index i = 0; i < 4; ++i) moments.add(observations(i, k));
        // Two summation orders of four numbers: rounding only.
        EXPECT_NEAR(means->value(k), moments.mean(), 1e-14);
        EXPECT_NEAR(means->standard_uncertainty(k), *moments.standard_uncertainty(), 1e-14);
    }
}

TEST(Propagate, LinearFunctionExactly) {
    Estimates inputs;
    inputs.value = Eigen::Vector2d(3, -1);
    inputs.covariance = Eigen::Matrix2d{{0.04, 0.01}, {0.01, 0.09}};
    Eigen::MatrixXd a(3, 2);
    a << 1, 2, 0.5, -1, 0, 4;
    const auto out = propagate(inputs, [&](const Eigen::VectorXd& x) { return Eigen::VectorXd(a * x); });
    const Eigen::MatrixXd expected = a * inputs.covariance * a.transpose();
    // Central differences of a linear function are exact up to rounding.
    EXPECT_LT((out.covariance - expected).cwiseAbs().maxCoeff(), 1e-14);
    EXPECT_LT((out.value - a * inputs.value).norm(), 1e-15);
}

TEST(Propagate, ExactInputPassesOnNothing) {
    Estimates inputs{Eigen::Vector2d(2, 5), Eigen::Matrix2d{{0, 0}, {0, 0.25}}};
    const auto out = propagate(
        inputs, [](const Eigen::VectorXd& x) { return Eigen::VectorXd(Eigen::VectorXd::Constant(1, x(0) * x(1))); });
    EXPECT_NEAR(out.standard_uncertainty(0), 2 * 0.5, 1e-14);  // |x0| u(x1), rounding only
    EXPECT_EQ(inputs.correlation(0, 1), 0);
}

}  // namespace
