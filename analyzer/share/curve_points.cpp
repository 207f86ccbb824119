#include "analyzer/share/curve_points.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "dsp/is_finite.hpp"

namespace coldtune::share {

Result<std::vector<std::size_t>> ascending_points(const measure::Curve& curve) {
    const std::vector<double>& f = curve.frequency_hz;
    if (curve.impedance_ohm.size() != f.size()) return bad_input("the curve's columns are not of one length");
    std::vector<std::size_t> points;
    for (std::size_t k = 0; k < f.size(); ++k) {
        const auto z = curve.impedance_ohm[k];
        if (std::isfinite(f[k]) && f[k] > 0 && dsp::is_finite(z)) points.push_back(k);
    }
    if (points.empty()) return bad_input("there is no curve in it; analyze with --json --curve keeps one");
    std::sort(points.begin(), points.end(), [&](std::size_t a, std::size_t b) { return f[a] < f[b]; });
    for (std::size_t i = 1; i < points.size(); ++i) {
        if (f[points[i]] == f[points[i - 1]]) {
            return bad_input(fmt::format("two points of the curve stand at {} Hz", f[points[i]]));
        }
    }
    return points;
}

}  // namespace coldtune::share
