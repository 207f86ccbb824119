// A primary as it is really wound: one wire on a spiral, its inductance by Neumann's double integral along the wire.
//
// Nothing of the ring sums is used: a part turn is a part of the spiral, open ends are open. Two parallel filaments one
// conductor radius apart stand for the current on the conductor's skin (F. E. Neumann 1845; the offset that gives a
// ring mu0 R (ln(8R/a) - 2), E. B. Rosa 1908; both from memory).
#pragma once

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "analyzer/model/geometry.hpp"

namespace coldtune::test {

struct WoundPrimary {
    model::Primary sizes;
    double lead_h = 0;
    double capacitance_f = 0;

    // Turn `turn` (0 at the inner end) on the cone; the turn from i to i + 1 has on average the radius of the ring that
    // stands for it in a description.
    [[nodiscard]] std::array<double, 3> at(double turn) const {
        const double slope = sizes.angle_deg * std::numbers::pi / 180, along = (turn - 0.5) * sizes.pitch_m;
        const double radius = sizes.inner_diameter_m / 2 + along * std::cos(slope);
        const double angle = 2 * std::numbers::pi * turn;
        return {radius * std::cos(angle), radius * std::sin(angle), sizes.base_height_m + along * std::sin(slope)};
    }

    // Straight pieces; the inner integral of each pair in closed form, the outer by three points of Gauss.
    [[nodiscard]] double inductance_h(double tap_turns, int pieces_per_turn = 32) const {
        const int n = static_cast<int>(std::ceil(tap_turns * pieces_per_turn));
        std::vector<std::array<double, 3>> points;
        // Corners a little outside, so that a turn of straight pieces holds the area of the round one.
        const double piece = 2 * std::numbers::pi * tap_turns / n;
        const double outside = std::sqrt(piece / std::sin(piece));
        for (int i = 0; i <= n; ++i) {
            points.push_back(at(tap_turns * i / n));
            points.back()[0] *= outside;
            points.back()[1] *= outside;
        }
        const double a = sizes.conductor_diameter_m / 2;
        constexpr std::array<double, 3> node = {0.1127016653792583, 0.5, 0.8872983346207417};
        constexpr std::array<double, 3> weight = {5.0 / 18, 8.0 / 18, 5.0 / 18};
        double sum = 0;
        for (int j = 0; j < n; ++j) {
            const auto& p = points[static_cast<std::size_t>(j)];
            const auto& q = points[static_cast<std::size_t>(j) + 1];
            const std::array<double, 3> t = {q[0] - p[0], q[1] - p[1], q[2] - p[2]};
            const double length = std::sqrt(t[0] * t[0] + t[1] * t[1] + t[2] * t[2]);
            for (int i = 0; i <= j; ++i) {
                const auto& u = points[static_cast<std::size_t>(i)];
                const auto& v = points[static_cast<std::size_t>(i) + 1];
                const std::array<double, 3> s = {v[0] - u[0], v[1] - u[1], v[2] - u[2]};
                const double cosine = (s[0] * t[0] + s[1] * t[1] + s[2] * t[2]) / length;  // times |s|
                double inner = 0;
                for (std::size_t k = 0; k < node.size(); ++k) {
                    double along = 0, square = a * a;
                    for (std::size_t d = 0; d < 3; ++d) {
                        const double offset = u[d] + node[k] * s[d] - p[d];
                        along += offset * t[d] / length;
                        square += offset * offset;
                    }
                    const double across = std::sqrt(std::max(square - along * along, 1e-12));
                    inner += weight[k] * (std::asinh((length - along) / across) + std::asinh(along / across));
                }
                sum += (i == j ? 1 : 2) * cosine * inner;
            }
        }
        return 1e-7 * sum;  // mu0 / 4 pi
    }

    [[nodiscard]] double tank_hz(double tap_turns) const {
        return 1 / (2 * std::numbers::pi * std::sqrt((inductance_h(tap_turns) + lead_h) * capacitance_f));
    }
};

}  // namespace coldtune::test
