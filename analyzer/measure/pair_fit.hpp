// Two coupled resonances fitted at the foot of the secondary, tank closed.
//
// What the foot tells: both circuits' own frequencies and Q, and k. The tank shows itself only as the impedance it
// reflects, (w M)^2 / Z_a: its L1 and C1 cannot be told apart from here, and the sign of M not at all.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <variant>

#include "analyzer/measure/pair_model.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

struct PairFit {
    PairParameters value;
    // Of (primary_hz, secondary_hz, primary_q, secondary_q, k), a priori: noise, form of the loss and shape together;
    // without the shape; noise alone.
    Eigen::Matrix<double, 5, 5> covariance, fitted_covariance, noise_covariance;
    std::array<double, 2> resonance_hz{};    // the pair's, undamped
    std::array<double, 2> resonance_u_hz{};  // k = 1
    std::array<double, 2> conductance_s{};   // at the foot, at each
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;
    std::array<dsp::Band, 2> windows;  // around either peak; all that was used
};

// Or a sentence why there is none. `near` starts from an earlier fit of the same pair instead of from the peaks.
using PairFitOutcome = std::variant<PairFit, std::string>;
PairFitOutcome fit_pair(const dsp::CorrectedResponse& data, const PairShape& shape, const PairFit* near = nullptr);

}  // namespace coldtune::measure
