#pragma once

#include <cmath>
#include <complex>

namespace coldtune::dsp {

inline bool is_finite(std::complex<double> z) {
    return std::isfinite(z.real()) && std::isfinite(z.imag());
}

}  // namespace coldtune::dsp
