#include "analyzer/model/inductance.hpp"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>
#include <numbers>
#include <vector>

#include "analyzer/model/elliptic.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

// ln m - ln R_m for two coplanar strips one pitch wide, m >= 1 pitches apart: how much closer than their spacing the
// strips of a sheet are on average. R_m is the mean geometric distance of two segments on a line; its closed form
// subtracts terms of order m^2 ln m that cancel to 1/(12 m^2), so beyond the first few the closed form is expanded in
// 1/m (every term positive): sum over even j of 2 / (j (j+1) (j+2) m^j).
double strip_nearness(double m) {
    if (m == 1) return 1.5 - 2 * std::numbers::ln2;
    const double inverse_square = 1 / (m * m);
    double power = inverse_square;
    double sum = 0;
    for (double j = 2;; j += 2) {
        const double term = 2 * power / (j * (j + 1) * (j + 2));
        sum += term;
        if (term < 1e-17 * sum) return sum;
        power *= inverse_square;
    }
}

// N * B(N) at the multiples 0, step, 2 step .. count * step: 2 sum_{m < N} (N - m)(ln m - ln R_m), which for fractional
// N is the straight line between its neighbours.
std::vector<double> turn_pair_sums(double step, std::size_t count) {
    std::vector<double> sums(count + 1, 0.0);
    double nearness_sum = 0;  // over m of g(m)
    double moment_sum = 0;    // over m of m g(m)
    double m = 1;
    for (std::size_t i = 1; i <= count; ++i) {
        const double turns = step * static_cast<double>(i);
        for (; m < turns; m += 1) {
            const double nearness = strip_nearness(m);
            nearness_sum += nearness;
            moment_sum += m * nearness;
        }
        sums[i] = 2 * (turns * nearness_sum - moment_sum);
    }
    return sums;
}

// Second difference that turns a self-property of lengths into the mutual one of two equal parts k lengths apart: what
// the parts i..j hold beyond what the shorter spans hold.
double mutual_from_lengths(const std::vector<double>& of_length, std::size_t apart) {
    return 0.5 * ((of_length[apart + 1] - of_length[apart]) - (of_length[apart] - of_length[apart - 1]));
}

// Mutual inductance of two equal coaxial sheets of one turn per metre, `length` long, starts `offset` apart: the ring
// kernel under the triangle of axial distances. From four lengths on the kernel's singularities are at least seven
// half-intervals from the middle of each half, where ten Gauss points are exact to rounding (error (7 + sqrt 48)^-20).
double distant_unit_sheets_mutual_h(double radius, double length, double offset) {
    const auto weighted = [&](double t) {
        return (length - std::abs(t)) * coaxial_rings_mutual_h(radius, radius, offset + t);
    };
    using Gauss = boost::math::quadrature::gauss<double, 10>;
    return Gauss::integrate(weighted, -length, 0.0) + Gauss::integrate(weighted, 0.0, length);
}

}  // namespace

double coaxial_rings_mutual_h(double radius_a_m, double radius_b_m, double distance_m) {
    // Maxwell's second form (after Landen's transformation), with K - E written as m D so that neither close nor
    // distant rings cancel:  M = 16 mu0 a^2 b^2 D / (r+ + r-)^3,  complementary parameter 4 r+ r- / (r+ + r-)^2.
    // Integrals over the distance come so near to zero that its square is none.
    const double near = std::hypot(radius_a_m - radius_b_m, distance_m);
    const double far = std::hypot(radius_a_m + radius_b_m, distance_m);
    const double sum = near + far;
    const double product = radius_a_m * radius_b_m;
    return 16 * kVacuumPermeability * product * product / (sum * sum * sum) *
           elliptic_d_complement(4 * near * far / (sum * sum));
}

double unit_sheet_inductance_h(double diameter_m, double length_m) {
    // Lorenz:  (8 mu0 r^3 / 3) [ (2m - 1)/k^3 E + (1 - m)/k^3 K - 1 ],  m = k^2 = d^2 / (d^2 + l^2). With K = E + m D
    // the bracket is [ m1 D + (E - 1) + (1 - k) ] / k, all terms positive, and 1 - k = m1 / (1 + k).
    if (length_m == 0) return 0;
    const double diagonal = std::hypot(diameter_m, length_m);
    const double k = diameter_m / diagonal;
    const double m1 = (length_m / diagonal) * (length_m / diagonal);
    const double bracket = (m1 * elliptic_d_complement(m1) + elliptic_e_minus_one_complement(m1) + m1 / (1 + k)) / k;
    return kVacuumPermeability * diameter_m * diameter_m * diameter_m / 3 * bracket;
}

double nagaoka_coefficient(double diameter_over_length) {
    return unit_sheet_inductance_h(diameter_over_length, 1.0) /
           (kVacuumPermeability * pi * diameter_over_length * diameter_over_length / 4);
}

double rosa_a(double wire_over_pitch) {
    return 1.25 - std::log(2 / wire_over_pitch);
}

double rosa_b(double turns) {
    return turn_pair_sums(turns, 1)[1] / turns;
}

double winding_inductance_h(const Winding& winding) {
    const double pitch = winding.length_m / winding.turns;
    const double sheet = unit_sheet_inductance_h(winding.diameter_m, winding.length_m) / (pitch * pitch);
    return sheet - kVacuumPermeability * winding.diameter_m / 2 * winding.turns *
                       (rosa_a(winding.wire_diameter_m / pitch) + rosa_b(winding.turns));
}

Eigen::MatrixXd section_inductance_h(const Winding& winding, std::size_t sections) {
    const double radius = winding.diameter_m / 2;
    const double pitch = winding.length_m / winding.turns;
    const double length = winding.length_m / static_cast<double>(sections);
    const double turns = winding.turns / static_cast<double>(sections);

    // Lengths beyond which differences are not used; four, see distant_unit_sheets_mutual_h.
    const std::size_t near = std::min<std::size_t>(sections, 4);
    std::vector<double> sheet(near + 1);
    for (std::size_t i = 0; i <= near; ++i) {
        sheet[i] = unit_sheet_inductance_h(winding.diameter_m, length * static_cast<double>(i));
    }
    const std::vector<double> pairs = turn_pair_sums(turns, sections);

    const double per_turn_squared = 1 / (pitch * pitch);
    const double per_correction = kVacuumPermeability * radius;
    std::vector<double> apart(sections);
    apart[0] =
        sheet[1] * per_turn_squared - per_correction * (turns * rosa_a(winding.wire_diameter_m / pitch) + pairs[1]);
    for (std::size_t k = 1; k < sections; ++k) {
        const double mutual = k < near ? mutual_from_lengths(sheet, k)
                                       : distant_unit_sheets_mutual_h(radius, length, length * static_cast<double>(k));
        apart[k] = mutual * per_turn_squared - per_correction * mutual_from_lengths(pairs, k);
    }

    const auto n = static_cast<Eigen::Index>(sections);
    Eigen::MatrixXd matrix(n, n);
    for (Eigen::Index column = 0; column < n; ++column) {
        for (Eigen::Index row = 0; row < n; ++row) {
            matrix(row, column) = apart[static_cast<std::size_t>(std::abs(row - column))];
        }
    }
    return matrix;
}

double ring_sheet_mutual_h(double ring_radius_m, double ring_height_m, double sheet_radius_m, double bottom_m,
                           double top_m, double turns) {
    const double length = top_m - bottom_m;
    const double axial_gap = std::max({bottom_m - ring_height_m, ring_height_m - top_m, 0.0});
    const double clearance = std::hypot(ring_radius_m - sheet_radius_m, axial_gap);
    const auto kernel = [&](double z) {
        return coaxial_rings_mutual_h(ring_radius_m, sheet_radius_m, z - ring_height_m);
    };
    // Gauss with n points errs by about rho^-2n, rho = s + sqrt(s^2 + 1) for a singularity s half-intervals off the
    // path. Pieces are made short enough for s >= 2 and 15 points (1e-18), or taken whole when s >= 5 and 7 points do
    // (1e-14).
    if (length <= 0.4 * clearance) {
        return boost::math::quadrature::gauss<double, 7>::integrate(kernel, bottom_m, top_m) * turns / length;
    }
    const double pieces = std::ceil(length / clearance);
    double sum = 0;
    for (double i = 0; i < pieces; i += 1) {
        sum += boost::math::quadrature::gauss<double, 15>::integrate(kernel, bottom_m + length * i / pieces,
                                                                     bottom_m + length * (i + 1) / pieces);
    }
    return sum * turns / length;
}

}  // namespace coldtune::model
