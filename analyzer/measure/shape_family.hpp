// The calculated coil and the plausible other shapes of it, brought to one static capacitance and one first resonance.
//
// Below its resonance a coil's foot shows a capacitance that rises with frequency. How it rises is nearly the same
// curve for every coil of the same static capacitance and first resonance; what remains is shape: how the capacitance
// spreads along the winding. The family holds that remainder for each thing that may differ from the description
// (dimensions, surroundings, former), each worth one standard uncertainty, so that a fit can leave them free with a
// prior and the uncertainty of the shape enters by itself.
#pragma once

#include <complex>
#include <string>
#include <vector>

#include "analyzer/model/geometry.hpp"
#include "analyzer/model/secondary.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

class ShapeFamily {
public:
    // Errors: the description cannot be built. `options` of the described coil; the others are cut alike.
    static Result<ShapeFamily> build(const model::CoilDescription& coil, const model::ModelOptions& options = {});

    // Names of the directions, e.g. "length", "surroundings".
    [[nodiscard]] const std::vector<std::string>& names() const { return names_; }
    [[nodiscard]] double static_capacitance_f() const {
        return capacitance_f_;
    }                                                                      // of the described coil, whole, at the foot
    [[nodiscard]] double first_mode_hz() const { return first_mode_hz_; }  // of the described coil
    // Relative standard uncertainties of the described coil's static capacitance and inductance (common practice limits
    // or the description's own tolerances): the prior of a fit.
    [[nodiscard]] double capacitance_prior() const { return capacitance_prior_; }
    [[nodiscard]] double inductance_prior() const { return inductance_prior_; }

    // The models themselves, as built from the dimensions: [0] the described shape, [1 + k] moved in direction k.
    [[nodiscard]] const model::SecondaryModel& member(std::size_t k) const { return members_[k].model; }

    // Foot admittance (S) at f with static capacitance e^a and first resonance e^b times the described coil's, copper
    // resistance times `resistance`; [0] is the described shape, [1 + k] the change by one standard uncertainty in
    // direction k.
    void evaluate(double frequency_hz, double a, double b, double resistance,
                  std::vector<std::complex<double>>& out) const;

    // The same with derivatives: of each by b, and of the described shape by the logarithm of the resistance (the
    // others are free of loss).
    struct Slopes {
        std::vector<std::complex<double>> by_resonance;
        std::complex<double> by_log_resistance;
    };
    void evaluate(double frequency_hz, double a, double b, double resistance, std::vector<std::complex<double>>& out,
                  Slopes& slopes) const;

    // The described shape alone.
    [[nodiscard]] std::complex<double> described(double frequency_hz, double a, double b, double resistance) const;

private:
    struct Member {
        model::SecondaryModel model;
        double capacitance_scale;  // brings it to the described static capacitance ...
        double inductance_scale;   // ... and to the described first resonance
    };
    ShapeFamily() = default;
    std::vector<Member> members_;  // described shape first
    std::vector<std::string> names_;
    double capacitance_f_ = 0, first_mode_hz_ = 0;
    double capacitance_prior_ = 0, inductance_prior_ = 0;
};

}  // namespace coldtune::measure
