#include "analyzer/book/outline.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "dsp/is_finite.hpp"

namespace coldtune::book {
namespace {

constexpr double bandwidths_aside = 4;

// Index of the bin nearest to a frequency.
std::size_t nearest(const std::vector<double>& frequency_hz, double wanted_hz) {
    const auto above = std::lower_bound(frequency_hz.begin(), frequency_hz.end(), wanted_hz);
    if (above == frequency_hz.begin()) return 0;
    if (above == frequency_hz.end()) return frequency_hz.size() - 1;
    const auto index = static_cast<std::size_t>(above - frequency_hz.begin());
    return wanted_hz - frequency_hz[index - 1] < frequency_hz[index] - wanted_hz ? index - 1 : index;
}

}  // namespace

std::optional<ResponseOutline> outline_of(const measure::MeasurementResult& result) {
    const measure::Curve& curve = result.curve;
    std::vector<std::size_t> sound;
    std::vector<double> frequency_hz;
    for (std::size_t k = 0; k < curve.frequency_hz.size(); ++k) {
        const auto& z = curve.impedance_ohm[k];
        if (!(curve.frequency_hz[k] > 0) || !dsp::is_finite(z) || !std::isfinite(curve.standard_deviation_ohm[k])) {
            continue;
        }
        sound.push_back(k);
        frequency_hz.push_back(curve.frequency_hz[k]);
    }
    if (sound.empty()) return std::nullopt;

    std::set<std::size_t> chosen;
    if (sound.size() <= most_outline_points) {
        for (std::size_t i = 0; i < sound.size(); ++i) chosen.insert(i);
    } else {
        constexpr std::size_t half = most_outline_points / 2;
        const double low = std::log(frequency_hz.front()), high = std::log(frequency_hz.back());
        for (std::size_t i = 0; i < half; ++i) {
            const double part = static_cast<double>(i) / (half - 1);
            chosen.insert(nearest(frequency_hz, std::exp(low + part * (high - low))));
        }
        const measure::Resonance* resonance = result.resonance();
        if (resonance != nullptr && resonance->q && *resonance->q > 0 &&
            resonance->frequency_hz < frequency_hz.back() && resonance->frequency_hz > frequency_hz.front()) {
            const double aside = bandwidths_aside * resonance->frequency_hz / *resonance->q;
            for (std::size_t i = 0; i < half; ++i) {
                const double part = static_cast<double>(i) / (half - 1);
                chosen.insert(nearest(frequency_hz, resonance->frequency_hz + aside * (2 * part - 1)));
            }
        }
    }
    ResponseOutline outline;
    outline.bins = curve.frequency_hz.size();
    for (const std::size_t i : chosen) {
        const std::size_t k = sound[i];
        outline.frequency_hz.push_back(curve.frequency_hz[k]);
        outline.impedance_real_ohm.push_back(curve.impedance_ohm[k].real());
        outline.impedance_imaginary_ohm.push_back(curve.impedance_ohm[k].imag());
        outline.standard_deviation_ohm.push_back(curve.standard_deviation_ohm[k]);
    }
    return outline;
}

}  // namespace coldtune::book
