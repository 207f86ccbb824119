// The curve that is fitted below the band: pooled admittances, the parameters, and the model with its derivatives.
// A part of find_below_band, in a file of its own.
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "analyzer/measure/shape_family.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure::below {

using Complex = std::complex<double>;

// One pooled stretch of the corrected admittance.
struct Group {
    double frequency_hz = 0;
    Complex admittance;
    double imaginary_sigma = 0, real_sigma = 0;
};

// Corrected data inside `band` as at most about a hundred groups, rising in frequency; the curve is smooth, more points
// would add nothing but time. Empty where no bin lies in the band.
std::vector<Group> pool(const dsp::CorrectedResponse& data, const dsp::Band& band, const dsp::BenchValues& bench);

// Difference of the inputs' responses at the band edge, one parameter for each power of frequency: analogue filters far
// above the band (2), and what is left of steep ones close to the edge, which converters of one interface have alike
// because they are digital. Common practice, no source. With the load standard: what moves between two captures.
inline constexpr std::array<double, 2> kEdgePowers{2, 12};
inline constexpr std::array<double, 2> kEdgeMeasured{1e-5, 3e-5};
inline constexpr std::array<double, 2> kEdgeDeclared{4e-4, 1e-3};
// Difference of their phases, radian at the edge: acts beside the coil, on 1 / reference, and only while no open
// standard took it out (with it, on the coil's own small admittance alone). Filters of the eighth order just above the
// band whose corners differ by 0.05 % part by 4.4 mrad there; with the first power, which is a capacitance, these leave
// 8e-6 rad.
inline constexpr std::array<double, 3> kEdgePhasePowers{3, 7, 14};
inline constexpr std::array<double, 3> kEdgePhaseDeclared_rad{1e-3, 2e-3, 1e-3};
inline constexpr double kLossPrior = 1.0;          // ln of resistance over copper: a factor of e either way
inline constexpr double kLossSlopePrior = 0.7;     // power of frequency beyond skin effect: proximity, lossy floor
inline constexpr double kLossTangentPrior = 0.01;  // former, floor

// Parameters, in order; all dimensionless and of order one.
enum Index : Eigen::Index {
    kCapacitance,
    kResonance,
    kLoss,
    kLossSlope,
    kStray,
    kTangent,
    kConductance,
    kSusceptance,
    kOwn,  // capacitance of the reference resistor
    kEdge,
    kEdgePhase = kEdge + static_cast<Eigen::Index>(kEdgePowers.size()),
    kShapes = kEdgePhase + static_cast<Eigen::Index>(kEdgePhasePowers.size())
};
inline constexpr double kLogScale = 0.1;  // of the first two

struct Problem {
    const ShapeFamily& family;
    std::vector<Group> groups;
    double stray_prior_f = 0;
    std::array<double, 2> edge_gain{};       // standard uncertainties
    std::array<double, 3> edge_phase_rad{};  // likewise; none once an open standard was used
    double edge_hz = 0;
    // What gains and phases that differ leave over when no open standard took it out: constant admittances, S.
    double conductance_prior = 0;
    double susceptance_prior = 0;
    // What the inputs' difference acts on besides the coil while no open standard took it out: 1 / reference and the
    // declared input capacitance.
    double reference_s = 0;
    double input_f = 0;
    // Reference resistor times the capacitance it may have of its own, while no load standard took it out.
    double reference_tau_s = 0;
    // What that capacitance carries is taken for the coil's: y / (1 + j omega R C).
    [[nodiscard]] Complex turn(const double* x, const Group& g) const {
        return 1.0 / Complex(1, 2 * std::numbers::pi * g.frequency_hz * reference_tau_s * x[kOwn]);
    }
    [[nodiscard]] Complex input(const Group& g) const { return {0, 2 * std::numbers::pi * g.frequency_hz * input_f}; }
    // The factor on the coil's own admittance.
    [[nodiscard]] Complex bent(const double* x, const Group& g) const { return (1.0 + edge(x, g)) * turn(x, g); }
    [[nodiscard]] Complex beside(const Group& g) const {
        return {reference_s, 2 * std::numbers::pi * g.frequency_hz * input_f};
    }

    [[nodiscard]] Eigen::Index parameters() const { return kShapes + static_cast<Eigen::Index>(family.names().size()); }
    [[nodiscard]] Eigen::Index data_rows() const { return 2 * static_cast<Eigen::Index>(groups.size()); }
    // One prior row for each parameter.
    [[nodiscard]] Eigen::Index rows() const { return data_rows() + parameters(); }

    // Everything of the model that depends on the three parameters it is not linear in, at every group.
    struct Members {
        std::vector<std::vector<Complex>> at;     // [group][member]
        std::vector<ShapeFamily::Slopes> slopes;  // [group]; empty unless asked for
    };

    [[nodiscard]] double resistance(const double* x, const Group& g) const {
        return std::exp(kLossPrior * x[kLoss]) * std::pow(g.frequency_hz / edge_hz, kLossSlopePrior * x[kLossSlope]);
    }

    [[nodiscard]] Complex described(const double* x, const Group& g, double resistance_factor) const {
        return family.described(g.frequency_hz, kLogScale * x[kCapacitance], kLogScale * x[kResonance],
                                resistance_factor);
    }

    // p: capacitance, resonance, loss, slope of the loss: the first parameters, in their order.
    [[nodiscard]] Members members(const double* p, bool with_slopes = false) const {
        Members m;
        m.at.resize(groups.size());
        if (with_slopes) m.slopes.resize(groups.size());
        for (std::size_t i = 0; i < groups.size(); ++i) {
            const double f = groups[i].frequency_hz, r = resistance(p, groups[i]);
            const double a = kLogScale * p[kCapacitance], b = kLogScale * p[kResonance];
            if (with_slopes) {
                family.evaluate(f, a, b, r, m.at[i], m.slopes[i]);
            } else {
                family.evaluate(f, a, b, r, m.at[i]);
            }
        }
        return m;
    }

    // Relative difference of the inputs at this frequency per unit of each parameter (from kEdge on), and as the
    // parameters have it.
    [[nodiscard]] Complex edge_per_unit(Eigen::Index k, const Group& g) const {
        const double relative = g.frequency_hz / edge_hz;
        if (k < kEdgePhase) {
            const auto i = static_cast<std::size_t>(k - kEdge);
            return edge_gain[i] * std::pow(relative, kEdgePowers[i]);
        }
        const auto i = static_cast<std::size_t>(k - kEdgePhase);
        return {0, edge_phase_rad[i] * std::pow(relative, kEdgePhasePowers[i])};
    }
    [[nodiscard]] Complex edge(const double* x, const Group& g) const {
        Complex sum = 0;
        for (Eigen::Index k = kEdge; k < kShapes; ++k) sum += edge_per_unit(k, g) * x[k];
        return sum;
    }
    [[nodiscard]] static double tangent_admittance(const Group& g, double coil_farad) {
        return 2 * std::numbers::pi * g.frequency_hz * coil_farad * kLossTangentPrior;
    }
    [[nodiscard]] double coil_farad(double capacitance) const {
        return family.static_capacitance_f() * std::exp(kLogScale * capacitance);
    }

    [[nodiscard]] Complex model(const double* x, double capacitance, const Group& g,
                                const std::vector<Complex>& y_of) const {
        Complex y = y_of[0];
        for (std::size_t k = 1; k < y_of.size(); ++k) y += x[kShapes + static_cast<Eigen::Index>(k) - 1] * y_of[k];
        y += tangent_admittance(g, coil_farad(capacitance)) * x[kTangent];
        y = (y + input(g)) * turn(x, g) - input(g);
        y += edge(x, g) * (y + beside(g));
        return y + Complex(conductance_prior * x[kConductance],
                           susceptance_prior * x[kSusceptance] +
                               2 * std::numbers::pi * g.frequency_hz * stray_prior_f * x[kStray]);
    }

    // Columns of the parameters the model is not linear in. That of the capacitance follows from the others, since
    // raising every capacitance by e^a at a fixed resonance raises the admittance of the coil by e^a and its resistance
    // against its impedance level by as much.
    void differentiate_curve(const double* x, const Members& here, double* jacobian) const {
        const double farad = coil_farad(x[kCapacitance]);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            const Group& g = groups[i];
            const Complex factor = bent(x, g);
            const auto column = [&](Eigen::Index k) { return jacobian + k * rows(); };
            const ShapeFamily::Slopes& slopes = here.slopes[i];
            Complex coil = here.at[i][0] + tangent_admittance(g, farad) * x[kTangent];
            Complex resonance = slopes.by_resonance[0];
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                const double share = x[kShapes + static_cast<Eigen::Index>(k) - 1];
                coil += share * here.at[i][k];
                resonance += share * slopes.by_resonance[k];
            }
            // Of the described shape only: the others are taken free of loss.
            const Complex loss = slopes.by_log_resistance * factor;
            store(column(kResonance), i, g, kLogScale * resonance * factor);
            store(column(kLoss), i, g, kLossPrior * loss);
            store(column(kLossSlope), i, g, kLossSlopePrior * std::log(g.frequency_hz / edge_hz) * loss);
            store(column(kCapacitance), i, g, kLogScale * (coil * factor + loss));
        }
    }

    static void store(double* column, std::size_t i, const Group& g, Complex value) {
        column[2 * i] = value.imag() / g.imaginary_sigma;
        column[2 * i + 1] = value.real() / g.real_sigma;
    }

    void evaluate(const double* x, double* r, double* jacobian) const {
        const Members here = members(x, jacobian != nullptr);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            store(r, i, groups[i], model(x, x[kCapacitance], groups[i], here.at[i]) - groups[i].admittance);
        }
        double* prior = r + data_rows();
        prior[0] = kLogScale * x[kCapacitance] / family.capacitance_prior();
        prior[1] = kLogScale * (-2 * x[kResonance] - x[kCapacitance]) / family.inductance_prior();
        for (Eigen::Index k = kLoss; k < parameters(); ++k) prior[k] = x[k];
        if (jacobian == nullptr) return;

        std::fill(jacobian, jacobian + rows() * parameters(), 0.0);
        const auto column = [&](Eigen::Index k) { return jacobian + k * rows(); };
        differentiate_curve(x, here, jacobian);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            const Group& g = groups[i];
            const Complex factor = bent(x, g);
            const Complex stray(0, 2 * std::numbers::pi * g.frequency_hz * stray_prior_f);
            const Complex constants =
                stray * x[kStray] + Complex(conductance_prior * x[kConductance], susceptance_prior * x[kSusceptance]);
            const Complex bent_whole = model(x, x[kCapacitance], g, here.at[i]) - constants;
            store(column(kStray), i, g, stray);
            store(column(kConductance), i, g, conductance_prior);
            store(column(kSusceptance), i, g, Complex(0, susceptance_prior));
            store(column(kTangent), i, g, tangent_admittance(g, coil_farad(x[kCapacitance])) * factor);
            const Complex straight = (bent_whole + beside(g)) / (1.0 + edge(x, g));
            // d turn = -j omega tau turn^2, on the coil and the input.
            const Complex turned = (straight - beside(g) + input(g)) * turn(x, g) * (1.0 + edge(x, g));
            store(column(kOwn), i, g, Complex(0, -2 * std::numbers::pi * g.frequency_hz * reference_tau_s) * turned);
            for (Eigen::Index k = kEdge; k < kShapes; ++k) store(column(k), i, g, edge_per_unit(k, g) * straight);
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                store(column(kShapes + static_cast<Eigen::Index>(k) - 1), i, g, here.at[i][k] * factor);
            }
        }
        column(kCapacitance)[data_rows()] = kLogScale / family.capacitance_prior();
        column(kCapacitance)[data_rows() + 1] = -kLogScale / family.inductance_prior();
        column(kResonance)[data_rows() + 1] = -2 * kLogScale / family.inductance_prior();
        for (Eigen::Index k = kLoss; k < parameters(); ++k) column(k)[data_rows() + k] = 1;
    }
};

// The coil's own admittance as fitted, with what stray is left beside it. `x`: the parameters.
Curve fitted_curve(Problem problem, const double* x, double from_hz, double to_hz);

// Where the foot's reactance is zero, which is what an instrument in the band reports; loss moves it from the mode of
// the loss-free coil by some 1/Q^2 of itself. Of the described shape with the fitted loss. Hertz; the mode itself where
// the reactance has no zero nearby (Q of a few).
double zero_reactance_hz(const Problem& problem, const double* x);

}  // namespace coldtune::measure::below
