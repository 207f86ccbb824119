// The elliptic integrals against another library: Boost.Math's Carlson forms in extended precision.
// K = R_F(0, m1, 1), E = 2 R_G(0, m1, 1), D = R_D(0, m1, 1) / 3 (NIST DLMF 19.25.1, from memory).
#include "analyzer/model/elliptic.hpp"

#include <gtest/gtest.h>

#include <boost/math/special_functions/ellint_rd.hpp>
#include <boost/math/special_functions/ellint_rf.hpp>
#include <boost/math/special_functions/ellint_rg.hpp>
#include <boost/multiprecision/cpp_bin_float.hpp>
#include <cmath>
#include <limits>

namespace coldtune::model {
namespace {

double relative(double value, long double reference) {
    return std::abs(static_cast<double>(static_cast<long double>(value) / reference - 1));
}

TEST(EllipticAgainstBoost, AgreeOverThreeHundredDecades) {
    double worst_k = 0;
    double worst_e = 0;
    double worst_d = 0;
    for (double exponent = -300; exponent <= 3; exponent += 0.0371) {
        const double m1 = std::pow(10, exponent);
        const auto x = static_cast<long double>(m1);
        worst_k = std::fmax(worst_k, relative(elliptic_k_complement(m1), boost::math::ellint_rf(0.0L, x, 1.0L)));
        worst_e = std::fmax(worst_e, relative(elliptic_e_complement(m1), 2 * boost::math::ellint_rg(0.0L, x, 1.0L)));
        worst_d = std::fmax(worst_d, relative(elliptic_d_complement(m1), boost::math::ellint_rd(0.0L, x, 1.0L) / 3));
        const EllipticPair pair = elliptic_pair_complement(m1);
        EXPECT_EQ(pair.k, elliptic_k_complement(m1));
        EXPECT_EQ(pair.e, elliptic_e_complement(m1));
    }
    // A handful of roundings of 1.1e-16 each.
    EXPECT_LT(worst_k, 1e-15);
    EXPECT_LT(worst_e, 2e-15);
    EXPECT_LT(worst_d, 2e-15);
}

TEST(EllipticAgainstBoost, EMinusOneKeepsItsDigits) {
    using Reference = boost::multiprecision::cpp_bin_float_50;
    for (double exponent = -30; exponent <= -0.2; exponent += 0.191) {
        const double m1 = std::pow(10, exponent);
        const Reference reference = 2 * boost::math::ellint_rg(Reference(0), Reference(m1), Reference(1)) - 1;
        const double ratio = static_cast<double>(elliptic_e_minus_one_complement(m1) / reference);
        // A few roundings of the series, or, where it is formed by subtraction (E - 1 > 0.09), ten roundings of E.
        EXPECT_NEAR(ratio, 1, m1 > 0.1 ? 1.5e-14 : 2e-15) << m1;
    }
    EXPECT_EQ(elliptic_e_minus_one_complement(0), 0);
}

TEST(EllipticAgainstBoost, EndsOfTheRange) {
    EXPECT_EQ(elliptic_k_complement(0), std::numeric_limits<double>::infinity());
    EXPECT_EQ(elliptic_e_complement(0), 1);
    // m = 1/2: K and E computed independently with another library (scipy).
    EXPECT_NEAR(elliptic_k_complement(0.5), 1.8540746773013719, 1e-15);
    EXPECT_NEAR(elliptic_e_complement(0.5), 1.3506438810476755, 1e-15);
    // A NaN comes back instead of hanging the loop.
    const double nan = std::nan("");
    EXPECT_TRUE(std::isnan(elliptic_k_complement(nan)));
    EXPECT_TRUE(std::isnan(elliptic_e_complement(nan)));
    EXPECT_TRUE(std::isnan(elliptic_d_complement(nan)));
    EXPECT_TRUE(std::isnan(elliptic_e_minus_one_complement(nan)));
}

}  // namespace
}  // namespace coldtune::model
