// A coil as it really is in a test: matrices of the distributed model plus what that model leaves out, solved directly.
//
// Nothing of the modal sums or of the fit is used: at each frequency the nodal equations of all sections are solved as
// they stand (Eigen, partial pivoting). The winding may have more loss than copper, stand on a lossy floor, sit on a
// former, and the foot may carry a stray capacitance.
#pragma once

#include <Eigen/Core>
#include <complex>

#include "analyzer/model/secondary.hpp"

namespace coldtune::test {

struct TrueCoil {
    Eigen::MatrixXd inductance_h;      // branches
    Eigen::MatrixXd capacitance_f;     // nodes, foot first
    double resistance_ohm = 0;         // per branch at reference_hz ...
    double resistance_exponent = 0.5;  // ... rising with this power of frequency
    double reference_hz = 100e3;
    double floor_ohm = 0;       // lossy floor: in series with the foot's return
    double turn_to_turn_f = 0;  // between neighbouring nodes: the former
    double stray_f = 0;         // at the foot

    static TrueCoil from(const model::SecondaryModel& model);

    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz) const;

    // First mode, foot grounded: the loss-free circuit's, which is where the foot's reactance is zero but for terms in
    // 1/Q^2.
    [[nodiscard]] double first_mode_hz() const;
};

}  // namespace coldtune::test
