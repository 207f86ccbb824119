// Noise of a ratio of two spectral lines from the scatter between a few periods.
//
// A variance from P periods has 2 (P - 1) degrees of freedom: as a weight it is poor. Noise changes slowly with
// frequency, so it is pooled over neighbouring bins, but the ratio m does not (a resonance), so the noises are pooled
// apart and put together with each bin's own m. Model, per bin, with everything complex and zero-mean:
//     generator window   V1 = mean + g + n1          coil window   V2 = m mean + m g + n2
// g is noise of the source, which passes through the coil and cancels in the ratio however large it is; n1 and n2
// belong to the inputs. What the ratio keeps is r = (V2 - mean V2) - m (V1 - mean V1) = n2 - m n1,
//     E|r|^2 = s2 + |m|^2 s1 .
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::dsp {

// Per bin, each already divided by the degrees of freedom P - 1, so each is an estimate of a variance of ONE period.
struct BinScatter {
    std::vector<double> ratio_power;     // |m|^2
    std::vector<double> rest;            // |r|^2
    std::vector<double> coil_part;       // Re(e2 conj r), expectation s2
    std::vector<double> generator_part;  // -Re(e1 conj(r) m) / |m|^2, expectation s1
    std::vector<double> generator;       // |e1|^2
    std::vector<double> coil;            // |e2|^2
    std::size_t degrees = 0;             // P - 1, complex
};

// E|r|^2 of one period at every bin. Bins that stand out of their neighbours (a hum line) are kept out of the pool and
// get their own scatter when it is larger.
std::vector<double> pooled_rest(const BinScatter& scatter);

// The same for a single noise power without the ratio.
std::vector<double> pooled_power(std::span<const double> power, std::size_t degrees);

}  // namespace coldtune::dsp
