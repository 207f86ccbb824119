#include "analyzer/model/elliptic.hpp"

#include <cmath>
#include <limits>
#include <numbers>

namespace coldtune::model {
namespace {

// The Landen recursion stops when the two means agree to the square root of the rounding unit: the next step, which is
// not taken, would change the result by the square of that.
constexpr double kMeansAgree = 1e-8;

// General complete integral of (a cos^2 + b sin^2) / sqrt(cos^2 + kc^2 sin^2) over a quarter turn, from
// R. Bulirsch, "Numerical calculation of elliptic integrals and elliptic functions", Numer. Math. 7, 78 (1965),
// function cel2 (from memory; held against another library in the tests). For a, b >= 0 every quantity is a sum of
// positive terms, so nothing cancels: K = (1, 1), E = (1, kc^2), D = (0, 1).
double complete_integral(double kc, double a, double b) {
    double m = 1;
    double c = a;
    a += b;
    for (;;) {
        b = 2 * (c * kc + b);
        c = a;
        const double previous = m;
        m += kc;
        a += b / m;
        // Written so that a NaN ends the loop.
        if (!(std::abs(previous - kc) > kMeansAgree * previous)) return std::numbers::pi / 4 * a / m;
        kc = 2 * std::sqrt(kc * previous);
    }
}

}  // namespace

double elliptic_k_complement(double m1) {
    if (m1 == 0) return std::numeric_limits<double>::infinity();
    double arithmetic = 1;
    double geometric = std::sqrt(m1);
    while (std::abs(arithmetic - geometric) > kMeansAgree * arithmetic) {
        const double mean = 0.5 * (arithmetic + geometric);
        geometric = std::sqrt(arithmetic * geometric);
        arithmetic = mean;
    }
    return std::numbers::pi / (arithmetic + geometric);
}

double elliptic_e_complement(double m1) {
    if (m1 == 0) return 1;
    return complete_integral(std::sqrt(m1), 1, m1);
}

EllipticPair elliptic_pair_complement(double m1) {
    return {elliptic_k_complement(m1), elliptic_e_complement(m1)};
}

double elliptic_d_complement(double m1) {
    return complete_integral(std::sqrt(m1), 0, 1);
}

double elliptic_e_minus_one_complement(double m1) {
    // Above this E - 1 keeps all but the last digit by plain subtraction; below, the logarithmic series of NIST DLMF
    // 19.12.2 (read in the source) converges at least as fast as 0.1^n.
    constexpr double series_below = 0.1;
    if (m1 == 0) return 0;
    if (m1 > series_below) return elliptic_e_complement(m1) - 1;
    const double log_inverse_modulus = -0.5 * std::log(m1);
    double digamma_difference = 2 * std::numbers::ln2;
    double coefficient = m1;
    double sum = 0;
    for (int n = 0;; ++n) {
        const double two_n = 2.0 * n;
        const double bracket = log_inverse_modulus + digamma_difference - 1 / ((two_n + 1) * (two_n + 2));
        const double term = coefficient * bracket;
        sum += term;
        if (!(term > 1e-17 * sum)) return 0.5 * sum;
        coefficient *= m1 * (n + 0.5) * (n + 1.5) / ((n + 2.0) * (n + 1.0));
        digamma_difference -= 2 / ((two_n + 1) * (two_n + 2));
    }
}

}  // namespace coldtune::model
