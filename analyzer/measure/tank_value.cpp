#include "analyzer/measure/tank_value.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

namespace coldtune::measure {
namespace {

constexpr double kTankExponent = 0.5, kExponentStandard = 0.25;

}  // namespace

TankValue tank_value(const Resonance& resonance, const model::TankCalculated& described) {
    const double omega = 2 * std::numbers::pi * resonance.frequency_hz;
    TankValue tank;
    tank.capacitance_f = described.capacitance_f;
    tank.capacitance_u95_f = described.capacitance_u95_f;
    tank.inductance_h = 1 / (omega * omega * tank.capacitance_f);
    tank.inductance_u95_h = tank.inductance_h * std::hypot(2 * resonance.frequency_u95_hz / resonance.frequency_hz,
                                                           tank.capacitance_u95_f / tank.capacitance_f);
    if (resonance.q) tank.resistance_ohm = omega * tank.inductance_h / *resonance.q;
    return tank;
}

std::optional<TankValue> tank_value(const SeriesEstimate& e) {
    if (!e.capacitance_f || !e.capacitance_u95_f) return std::nullopt;
    return TankValue{e.inductance_h, e.inductance_u95_h, *e.capacitance_f, *e.capacitance_u95_f, std::nullopt};
}

std::optional<TankLoss> tank_loss(const std::vector<Resonance>& loaded, double frequency_hz, double frequency_u95_hz) {
    // ln(f/Q) = a + p ln(f/f0): the inductance is the same at both ends and drops out.
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    normal(1, 1) = 1 / (kExponentStandard * kExponentStandard);
    right(1) = kTankExponent * normal(1, 1);
    for (const Resonance& r : loaded) {
        if (!r.q || !r.q_u95 || !(*r.q > 0) || !(*r.q_u95 > 0)) return std::nullopt;
        const double weight = std::pow(2 * *r.q / *r.q_u95, 2);
        const Eigen::Vector2d row(1, std::log(r.frequency_hz / frequency_hz));
        normal += weight * row * row.transpose();
        right += weight * row * std::log(r.frequency_hz / *r.q);
    }
    const Eigen::LDLT<Eigen::Matrix2d> factor(normal);
    const Eigen::Vector2d fitted = factor.solve(right);
    const Eigen::Matrix2d covariance = factor.solve(Eigen::Matrix2d::Identity());
    TankLoss loss;
    loss.q = frequency_hz / std::exp(fitted(0));
    const double place = (1 - fitted(1)) * frequency_u95_hz / 2 / frequency_hz;
    loss.q_u95 = 2 * loss.q * std::hypot(std::sqrt(covariance(0, 0)), place);
    return loss;
}

}  // namespace coldtune::measure
