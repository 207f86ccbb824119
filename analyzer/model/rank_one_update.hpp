// Eigenvalues and vectors of a diagonal matrix with a rank-one change.
#pragma once

#include <Eigen/Core>

namespace coldtune::model {

struct RankOneUpdate {
    Eigen::VectorXd values;   // ascending
    Eigen::MatrixXd vectors;  // columns, orthonormal
};

// Of diag(d) + rho q q^T, d strictly ascending, rho >= 0. Each new value lies between its old one and the next (J. H.
// Wilkinson, The Algebraic Eigenvalue Problem, chapter 2; from memory) and is bracketed there; the vectors are those of
// the problem for which the computed values are exact (Gu and Eisenstat 1994), orthogonal to rounding.
RankOneUpdate update_diagonal(const Eigen::VectorXd& d, const Eigen::VectorXd& q, double rho);

}  // namespace coldtune::model
