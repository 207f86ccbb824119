// From the ratio of two voltages to the impedance of what hangs on the far side of the reference resistor.
//
// With an ideal bench ratio = Z / (R + Z), R the reference resistor with what capacitance it has of its own. Real
// inputs, cables, resistors and gains make it a bilinear (Moebius) map of Z, which three standards determine at every
// frequency (standard practice for impedance bridges):
//     Z = Z_load (m - m_short)(m_open - m_load) / ((m_open - m)(m_load - m_short))
// A standard that was not measured is replaced by what the declared bench predicts for it (R exact, gains equal, no
// lead):
//     m_short = 0,  m_open = Z_in/(R + Z_in),  m_load = (Z' || Z_in)/(R + (Z' || Z_in)),
// Z_in from m_open when that was measured, Z' = Z_load plus the lead that a measured m_short shows. A predicted load
// then drops out of the formula whatever its value:
//     Z = R m_open^2 / (m_open - m_short) * (m - m_short) / (m_open - m)
#pragma once

#include <complex>
#include <optional>
#include <vector>

#include "dsp/response.hpp"
#include "dsp/result.hpp"

namespace coldtune::dsp {

// What is declared about the bench.
struct BenchValues {
    double reference_ohm = 0;              // > 0
    double input_resistance_ohm = 1e6;     // coil-side input, > 0 (infinity allowed)
    double input_capacitance_f = 150e-12;  // coil-side input and cable, >= 0
    double load_ohm = 0;                   // value of the load standard; used only when it was measured
    double reference_capacitance_f = 0;    // in parallel with the reference resistor, >= 0; a load standard replaces it
};

// Measured standards; any subset.
struct Standards {
    std::optional<Response> open;
    std::optional<Response> short_circuit;
    std::optional<Response> load;
};

// ratio = (p + q Y) / (r + s Y) for an admittance Y (siemens) at the coil terminals.
struct AdmittanceMap {
    std::complex<double> p, q, r, s;
    [[nodiscard]] std::complex<double> ratio(std::complex<double> admittance) const {
        return (p + q * admittance) / (r + s * admittance);
    }
    [[nodiscard]] std::complex<double> admittance(std::complex<double> ratio) const {
        return (r * ratio - p) / (q - s * ratio);
    }
};

// One element per bin of the coil's response that every given standard covers (standards are interpolated between their
// own bins where their bins differ; bins outside a standard are dropped).
struct CorrectedResponse {
    std::vector<double> frequency_hz;
    std::vector<std::complex<double>> impedance;  // ohm
    std::vector<double> impedance_variance;       // ohm^2, E|error|^2, first order, coil and standards together
    // The same information where the noise is simplest: the observed ratio, the map, and a variance of the ratio that
    // also holds the standards' noise (referred to the ratio). A maximum-likelihood fit works on these.
    std::vector<std::complex<double>> ratio;
    std::vector<double> ratio_variance;
    std::vector<AdmittanceMap> map;
    bool used_open = false, used_short = false, used_load = false;
};

// Errors (bad_input): non-positive reference or load, a standard of another sample rate, no bin in common.
Result<CorrectedResponse> correct(const Response& coil, const Standards& standards, const BenchValues& bench);

}  // namespace coldtune::dsp
