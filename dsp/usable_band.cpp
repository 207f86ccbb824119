#include <algorithm>
#include <cmath>

#include "dsp/response.hpp"

namespace coldtune::dsp {
namespace {

// Spoiled bins in a row that are bridged when good ones go on at both sides for at least twice as long.
constexpr std::size_t widest_gap = 8;

struct Stretch {
    std::size_t first = 0;
    std::size_t last = 0;  // inclusive
    [[nodiscard]] std::size_t bins() const { return last - first + 1; }
};

}  // namespace

std::optional<Band> usable_band(const Response& response, double relative_error) {
    std::vector<Stretch> stretches;
    for (std::size_t i = 0; i < response.ratio.size(); ++i) {
        const double limit = relative_error * std::abs(response.ratio[i]);
        if (!(response.variance[i] < limit * limit)) continue;
        if (!stretches.empty() && stretches.back().last + 1 == i)
            stretches.back().last = i;
        else
            stretches.push_back({i, i});
    }
    std::vector<Stretch> bridged;
    for (const Stretch& next : stretches) {
        if (!bridged.empty()) {
            const std::size_t gap = next.first - bridged.back().last - 1;
            if (gap <= widest_gap && bridged.back().bins() >= 2 * gap && next.bins() >= 2 * gap) {
                bridged.back().last = next.last;
                continue;
            }
        }
        bridged.push_back(next);
    }
    // The strongest part: the stretch with most of the generator's power.
    const auto power = [&](const Stretch& s) {
        double sum = 0;
        for (std::size_t i = s.first; i <= s.last; ++i)
            sum += response.generator_amplitude[i] * response.generator_amplitude[i];
        return sum;
    };
    const auto best = std::max_element(bridged.begin(), bridged.end(),
                                       [&](const Stretch& a, const Stretch& b) { return power(a) < power(b); });
    if (best == bridged.end()) return std::nullopt;
    return Band{response.frequency_hz[best->first], response.frequency_hz[best->last]};
}

}  // namespace coldtune::dsp
