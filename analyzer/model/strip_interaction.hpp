// Mutual potential integrals of two charged strips.
#pragma once

#include "analyzer/model/meridian.hpp"

namespace coldtune::model {

// Where the second strip of a pair stands: z becomes sign * z + shift (a mirror image or a repeated image).
struct Placement {
    double sign = 1;
    double shift = 0;
};

// Adds  weight * integral psi_k(u) psi_l(u') ring_kernel(a(u), placed b(u')) du du'  to block[k * (b.degree + 1) + l],
// psi_k(u) = P_k(2u - 1) r(u)/mean_radius, for all k up to a.degree and l up to b.degree. Unit 1/metre.
//
// Well-separated pieces are integrated by Gauss-Legendre products whose order follows from distance over size (the
// kernel is analytic in an ellipse that ends at the other piece); close ones are halved until they are separated. A
// piece with itself, and two pieces that touch at an end, carry the kernel's logarithm in the integrand: the square is
// cut into triangles at the singular line or corner and a power substitution makes the logarithm harmless (Duffy's
// transformation). `tolerance` is the relative error aimed at for one block.
void add_interaction(const Strip& a, const Strip& b, Placement placement, double tolerance, double weight,
                     double* block);

// Integral of psi_k(u) * g(u) du for k = 0..degree, g = 1 (`charge`), the fraction of the strip's length (`ramp`) and
// z (`moment`); added to nothing, written to arrays of kMaxStripDegree + 1.
struct StripMoments {
    double charge[kMaxStripDegree + 1] = {};
    double ramp[kMaxStripDegree + 1] = {};
    double moment[kMaxStripDegree + 1] = {};
};
StripMoments strip_moments(const Strip& strip);

}  // namespace coldtune::model
