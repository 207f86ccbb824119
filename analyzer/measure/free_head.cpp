#include "analyzer/measure/free_head.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace coldtune::measure {
namespace {

constexpr double kDecade = 10;       // a band that begins near the resonance shows either sign
constexpr double kLowEndSpan = 2;    // up to twice the lowest frequency
constexpr double kMiddle = 1.41;     // of that octave
constexpr std::size_t kFewest = 8;   // bins
constexpr double kInductive = 0.3;   // of the impedance: Q of a winding tied to the return passes this at 1 kHz
constexpr double kSmallest_ohm = 1;  // less is a lead

}  // namespace

std::optional<Finding> judge_free_head(const dsp::CorrectedResponse& corrected) {
    const auto& f = corrected.frequency_hz;
    if (f.empty() || f.back() < kDecade * f.front()) return std::nullopt;
    std::vector<double> part, size, lower, upper;
    for (std::size_t k = 0; k < f.size() && f[k] < kLowEndSpan * f.front(); ++k) {
        const auto z = corrected.impedance[k];
        part.push_back(z.imag() / std::abs(z));
        size.push_back(z.imag());
        (f[k] < kMiddle * f.front() ? lower : upper).push_back(z.imag());
    }
    if (part.size() < kFewest) return std::nullopt;
    // Three quarters agree: noise alone (an open lead) has either sign.
    const auto quarter = [](std::vector<double>& values) {
        const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 4);
        std::nth_element(values.begin(), at, values.end());
        return *at;
    };
    const auto middle = [](std::vector<double>& values) {
        if (values.empty()) return 0.0;
        const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
        std::nth_element(values.begin(), at, values.end());
        return *at;
    };
    if (!(quarter(part) > kInductive && quarter(size) > kSmallest_ohm)) return std::nullopt;
    // An inductance grows with frequency. What falls is a capacitance below nothing: more was taken off than is there.
    if (middle(upper) < middle(lower)) {
        return Finding{FindingCode::correction_stale, Weight::reject,
                       "after correction less than nothing is left at the foot: the open standard holds more cable "
                       "than lies there now, or held the coil; measure it again with the leads as they lie"};
    }
    return Finding{FindingCode::shorted, Weight::reject,
                   "the foot shows an inductance at the low end of the band, where a coil with its head free is a "
                   "capacitance: the head touches the return or ground; free it, or use the hookup winding"};
}

}  // namespace coldtune::measure
