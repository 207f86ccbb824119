#include "analyzer/measure/shape_family.hpp"

#include <cmath>
#include <functional>

#include "analyzer/model/secondary_modes.hpp"

namespace coldtune::measure {
namespace {

using model::CoilDescription;

// A limit of 5 % on every dimension that the description gives no tolerance for: what a coil may differ from its
// drawing before its builder would call it another coil (common practice, no source). Rectangular: standard uncertainty
// = limit / sqrt 3 (GUM 4.3.7).
constexpr double kDimensionLimit = 0.05;
constexpr double kRectangular = 0.57735026918962576;
// Walls, furniture and people about a metre away: a grounded cylinder of this radius stands in for them, as one
// standard uncertainty.
constexpr double kWallRadius_m = 1.0;

struct Change {
    const char* name;
    std::function<void(CoilDescription&)> apply;
};

double relative_or(const std::optional<double>& limit, double size) {
    return (limit && size > 0 ? *limit / size : kDimensionLimit) * kRectangular;
}

std::vector<Change> changes_of(const CoilDescription& coil) {
    const auto& w = coil.secondary;
    std::vector<Change> list;
    list.push_back({"diameter", [d = relative_or(coil.tolerances.diameter_m, w.diameter_m)](CoilDescription& c) {
                        c.secondary.diameter_m *= 1 + d;
                    }});
    list.push_back({"length", [d = relative_or(coil.tolerances.length_m, w.length_m)](CoilDescription& c) {
                        c.secondary.length_m *= 1 + d;
                    }});
    if (coil.surroundings.ground) {
        const double limit = coil.tolerances.base_height_m.value_or(std::max(0.1 * w.base_height_m, 0.02));
        list.push_back(
            {"base height", [d = limit * kRectangular](CoilDescription& c) { c.secondary.base_height_m += d; }});
    }
    if (!coil.topload.empty()) {
        const double limit = coil.tolerances.topload_relative.value_or(kDimensionLimit) * kRectangular;
        list.push_back({"top load size", [limit](CoilDescription& c) {
                            for (auto& body : c.topload) {
                                std::visit(
                                    [&](auto& b) {
                                        if constexpr (requires { b.outer_diameter_m; }) {
                                            b.outer_diameter_m *= 1 + limit;
                                            b.tube_diameter_m *= 1 + limit;
                                        } else {
                                            b.diameter_m *= 1 + limit;
                                        }
                                    },
                                    body);
                            }
                        }});
        list.push_back({"top load height", [](CoilDescription& c) {
                            // Half a tube upward: always clear of the winding.
                            for (auto& body : c.topload) {
                                std::visit(
                                    [](auto& b) {
                                        if constexpr (requires { b.tube_diameter_m; }) {
                                            b.height_m += 0.25 * b.tube_diameter_m;
                                        } else {
                                            b.height_m += 0.1 * b.diameter_m;
                                        }
                                    },
                                    body);
                            }
                        }});
    }
    if (!coil.surroundings.wall_radius_m) {
        list.push_back({"surroundings", [](CoilDescription& c) { c.surroundings.wall_radius_m = kWallRadius_m; }});
    }
    return list;
}

double static_capacitance(const model::SecondaryModel& m) {
    return m.node_capacitance_f().sum();
}

}  // namespace

Result<ShapeFamily> ShapeFamily::build(const CoilDescription& coil, const model::ModelOptions& options) {
    auto described = model::SecondaryModel::build(coil, options);
    if (!described) return described.error();
    ShapeFamily family;
    family.capacitance_f_ = static_capacitance(*described);
    family.first_mode_hz_ = described->modes_hz()[0];
    model::ModelOptions same;
    same.sections = described->sections();
    family.members_.push_back({std::move(*described), 1, 1});
    for (const Change& change : changes_of(coil)) {
        CoilDescription other = coil;
        change.apply(other);
        auto built = model::SecondaryModel::build(other, same);
        if (!built) continue;  // such a shape is impossible here, e.g. a wall through the top load
        const double c = family.capacitance_f_ / static_capacitance(*built);
        const double ratio = built->modes_hz()[0] / family.first_mode_hz_;
        family.members_.push_back({std::move(*built), c, ratio * ratio / c});
        family.names_.emplace_back(change.name);
    }
    // L ~ turns^2 diameter^2 / length, C ~ size: independent rectangular limits on each dimension.
    const double d = relative_or(coil.tolerances.diameter_m, coil.secondary.diameter_m);
    const double l = relative_or(coil.tolerances.length_m, coil.secondary.length_m);
    const double n = relative_or(coil.tolerances.turns, coil.secondary.turns);
    family.inductance_prior_ = std::sqrt(4 * n * n + 4 * d * d + l * l + 0.01 * 0.01);
    // Capacitance depends on room and former more than on dimensions; 10 % covers both (common practice, no source).
    family.capacitance_prior_ = std::sqrt(d * d + l * l + 0.1 * 0.1);
    return family;
}

void ShapeFamily::evaluate(double frequency_hz, double a, double b, double resistance,
                           std::vector<std::complex<double>>& out) const {
    const double capacitance = std::exp(a);
    const double inductance = std::exp(-2 * b - a);
    const auto at = [&](const Member& m, double r) {
        return m.model.foot_admittance(frequency_hz,
                                       {capacitance * m.capacitance_scale, inductance * m.inductance_scale, r});
    };
    out.resize(members_.size());
    out[0] = at(members_[0], resistance);
    // Differences of shape are small and below the resonance nearly free of loss: without it they cost a fraction of
    // the time.
    const std::complex<double> described = at(members_[0], 0);
    for (std::size_t k = 1; k < members_.size(); ++k) out[k] = at(members_[k], 0) - described;
}

void ShapeFamily::evaluate(double frequency_hz, double a, double b, double resistance,
                           std::vector<std::complex<double>>& out, Slopes& slopes) const {
    const double capacitance = std::exp(a);
    const double inductance = std::exp(-2 * b - a);
    const auto at = [&](const Member& m, double r) {
        return m.model.foot_slopes(frequency_hz,
                                   {capacitance * m.capacitance_scale, inductance * m.inductance_scale, r});
    };
    out.resize(members_.size());
    slopes.by_resonance.resize(members_.size());
    // ln of the inductance goes with -2 b.
    const model::FootSlopes lossy = at(members_[0], resistance), described = at(members_[0], 0);
    out[0] = lossy.admittance;
    slopes.by_resonance[0] = -2.0 * lossy.by_log_inductance;
    slopes.by_log_resistance = lossy.by_log_resistance;
    for (std::size_t k = 1; k < members_.size(); ++k) {
        const model::FootSlopes other = at(members_[k], 0);
        out[k] = other.admittance - described.admittance;
        slopes.by_resonance[k] = -2.0 * (other.by_log_inductance - described.by_log_inductance);
    }
}

std::complex<double> ShapeFamily::described(double frequency_hz, double a, double b, double resistance) const {
    return members_[0].model.foot_admittance(frequency_hz, {std::exp(a), std::exp(-2 * b - a), resistance});
}

}  // namespace coldtune::measure
