// How a known capacitor from the head to the return lowers a coil's first resonance.
//
//     f(C) = 1 / (2 pi sqrt(L (C + own(C))))        SI; L at low frequency (uniform current), C the added capacitor
//
// A lumped circuit has one own capacitance whatever C: 1/f^2 against C is a straight line. A coil's current is uniform
// only while C outweighs its own capacitance, so own(C) falls by some ten to thirty per cent from C = 0 to C large and
// the line is bent. This holds own(C) of the distributed model, for the described coil and for every plausible other
// shape of it (ShapeFamily), by interpolation in C/(C + own(0)): a fit asks for it thousands of times.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "analyzer/measure/shape_family.hpp"

namespace coldtune::measure {

class LoadingCurve {
public:
    // own(C) = `own_f` for all C: the straight line.
    static LoadingCurve lumped(double own_f);
    static LoadingCurve of(const ShapeFamily& family);

    [[nodiscard]] double inductance_h() const { return inductance_h_; }  // of the described coil; lumped: 1
    [[nodiscard]] double own_f() const { return own_f_; }                // own(0), with inductance_h the unloaded one
    [[nodiscard]] std::size_t shapes() const { return names_.size(); }
    [[nodiscard]] const std::vector<std::string>& names() const { return names_; }

    // own(added_f) in farads with all capacitances of the coil `capacitance` times the described ones (> 0; lumped:
    // any) and the shape moved by shape[k] standard uncertainties in direction k; own(0) is the same for every shape.
    [[nodiscard]] double own_f(double added_f, double capacitance, const double* shape) const;

private:
    LoadingCurve() = default;
    double inductance_h_ = 1, own_f_ = 0;
    std::vector<std::string> names_;
    // own(C)/own(0) against C/(C + own(0)): the described shape, then the other shapes.
    std::vector<std::function<double(double)>> relative_;
};

}  // namespace coldtune::measure
