// Complete elliptic integrals from the complementary parameter, and the inductance and potential kernels built on them.
//
// Everything coaxial in this model ends in K and E. Close conductors make the parameter m = k^2 approach 1, where 1 - m
// formed by subtraction has no digits left; the geometry gives m1 = 1 - m directly (for two coaxial rings
// m1 = ((a-b)^2 + h^2) / ((a+b)^2 + h^2)), so these take m1.
#pragma once

namespace coldtune::model {

struct EllipticPair {
    double k = 0;  // first kind
    double e = 0;  // second kind
};

// Complete elliptic integral of the first kind, K(m) with m = 1 - m1. Domain m1 > 0 (m1 = 0 gives infinity); relative
// error below 1e-15.
double elliptic_k_complement(double m1);

// Complete elliptic integral of the second kind, E(m) with m = 1 - m1. Domain m1 >= 0; relative error below 1e-15.
double elliptic_e_complement(double m1);

// Both at the price of one: the kernel of the field sums.
EllipticPair elliptic_pair_complement(double m1);

// D(m) = (K - E) / m, the integral of sin^2 over the same root, without the cancellation at small m. Domain m1 > 0.
double elliptic_d_complement(double m1);

// E(m) - 1 without the cancellation at small m1. Domain m1 >= 0.
double elliptic_e_minus_one_complement(double m1);

}  // namespace coldtune::model
