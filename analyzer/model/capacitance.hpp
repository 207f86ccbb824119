// Capacitance matrix of coaxial conductors by the Galerkin boundary-element method.
//
// Every conductor is a list of charged strips (analyzer/model/meridian.hpp). Both the charge and the test functions are
// the strips' Legendre polynomials, so the matrix of potential coefficients is symmetric positive definite, and the
// capacitance C = B^T A^-1 B is the exact minimum of the field energy over those charges: never above the true value
// for a single body at one potential. Grounded conductors take part in A and have no column in B, which eliminates
// them. Assumes: rotational symmetry, perfect conductors in air, statics. Plane ground: mirror image. Plane ceiling
// without a wall: mirror image, with ground the double series of images with its tail summed.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>
#include <vector>

#include "analyzer/model/meridian.hpp"

namespace coldtune::model {

// Permittivity of vacuum, F/m (CODATA 2018).
inline constexpr double kVacuumPermittivity = 8.8541878128e-12;

// A strip and its potential: linear along the strip's length from node `start` to node `end`; -1 = grounded at both.
struct ChargedStrip {
    Strip strip;
    int start = -1;
    int end = -1;
    bool counted = false;  // its charge goes into MaxwellSolution::counted_charge_f
};

struct ConductorSet {
    std::vector<ChargedStrip> strips;
    std::size_t nodes = 0;
    bool ground = false;                     // plane z = 0
    std::optional<double> ceiling_height_m;  // infinite plane
    // Strips first..last-1 are equal vertical cylinders on top of each other: their integrals depend only on the
    // difference (and for images the sum) of their numbers and are made once.
    std::size_t uniform_first = 0;
    std::size_t uniform_last = 0;
};

struct MaxwellSolution {
    Eigen::MatrixXd capacitance_f;     // nodes x nodes, Maxwell: charge on node i per volt on node j
    Eigen::VectorXd counted_charge_f;  // charge on the counted strips per volt on each node
};

// `tolerance`: relative error of each integral. Precondition: no strip below the ground or through it, and every strip
// with nodes between 0 and nodes - 1 or both -1.
MaxwellSolution solve_maxwell(const ConductorSet& conductors, double tolerance = 1e-7);

// Puts one conductor at node `node`.
void append_conductor(ConductorSet& conductors, const std::vector<Strip>& meridian, int node, bool counted = false);

// Capacitance of one conductor to infinity, or to the ground plane, farads.
double capacitance_of(const std::vector<Strip>& meridian, bool ground = false, double tolerance = 1e-10);

}  // namespace coldtune::model
