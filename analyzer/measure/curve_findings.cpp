#include "analyzer/measure/curve_findings.hpp"

#include <fmt/format.h>

#include <cmath>
#include <string>

#include "analyzer/measure/in_band.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {

bool unphysical_after_open(const dsp::CorrectedResponse& corrected) {
    if (!corrected.used_open) return false;
    std::size_t negative = 0, counted = 0;
    for (std::size_t k = 0; k < corrected.impedance.size(); ++k) {
        const auto y = 1.0 / corrected.impedance[k];
        const double sigma = std::sqrt(corrected.impedance_variance[k] / 2) / std::norm(corrected.impedance[k]);
        // Only bins where the conductance is not just noise; 2 % of |Y| covers gains that differ.
        const double margin = 3 * sigma + 0.02 * std::abs(y);
        ++counted;
        negative += y.real() < -margin ? 1U : 0U;
    }
    return counted > 0 && negative * 4 > counted;
}

void add_uncorrected(std::vector<Finding>& findings, const dsp::CorrectedResponse& corrected) {
    if (corrected.used_open || corrected.used_short || corrected.used_load) return;
    findings.push_back({FindingCode::uncorrected, Weight::caution,
                        "no standard was used: the declared resistor and input stand in for them; measure open (most "
                        "useful), short and "
                        "load with the same leads"});
}

void add_without_open(std::vector<Finding>& findings, const dsp::CorrectedResponse& corrected) {
    if (corrected.used_open || !(corrected.used_short || corrected.used_load)) return;
    findings.push_back({FindingCode::uncorrected, Weight::caution,
                        "without the open standard the lead's capacitance is only declared, and below the band it "
                        "decides: measure open with the same leads"});
}

void add_other_peaks(std::vector<Finding>& findings, bench::Hookup hookup, const Resonance& resonance) {
    std::string near, overtones;
    for (double f : resonance.other_peaks_hz) {
        std::string& where = is_overtone(hookup, f, resonance.frequency_hz) ? overtones : near;
        where += (where.empty() ? "" : ", ") + record::format_quantity(f, record::Unit::hertz);
    }
    if (!near.empty()) {
        findings.push_back(
            {FindingCode::several_peaks, Weight::caution,
             fmt::format("further peaks at {}, which may pull the one that is reported. Move other coils, the primary "
                         "and metal away, or open the primary circuit; a tank that is closed on purpose is analysed "
                         "at the foot with --coupled",
                         near)});
    }
    if (!overtones.empty()) {
        findings.push_back({FindingCode::several_peaks, Weight::note,
                            fmt::format("further peaks at {}, an octave above the resonance or more: higher modes of "
                                        "the coil, or another circuit",
                                        overtones)});
    }
}

void add_misfit(std::vector<Finding>& findings, const Resonance& resonance) {
    if (!(resonance.misfit > notable_misfit)) return;
    findings.push_back(
        {FindingCode::several_peaks, Weight::caution,
         fmt::format("near {} the curve departs from a single resonance by {:.2g} % of its height, and the "
                     "number with it: move other coils, the primary and metal away, look for a loose "
                     "contact, and take the standards again with nothing changed but the coil",
                     record::format_quantity(resonance.frequency_hz, record::Unit::hertz), 100 * resonance.misfit)});
}

}  // namespace coldtune::measure
