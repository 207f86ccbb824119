#include "analyzer/tuning/top_load.hpp"

#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <functional>
#include <numbers>

#include "analyzer/measure/shape_family.hpp"
#include "analyzer/tuning/clock_share.hpp"

namespace coldtune::tuning {
namespace {

using measure::KnownValue;

// What a lumped capacitor at the head does otherwise than a body around it that reaches down the winding and shields
// it, relative, standard: left over when the calculated equivalent of one body is held against another's (common
// practice, no source).
constexpr double kFormStandard = 0.01;

// x in [low, high] with increasing f(x) = 0.
double root(const std::function<double(double)>& f, double low, double high) {
    const double at_low = f(low), at_high = f(high);
    if (at_low >= 0) return low;
    if (at_high <= 0) return high;
    std::uintmax_t rounds = 100;
    const auto [a, b] = boost::math::tools::toms748_solve(f, low, high, at_low, at_high,
                                                          boost::math::tools::eps_tolerance<double>(40), rounds);
    return 0.5 * (a + b);
}

// The capacitor at the head of `bare` that gives the first resonance of `loaded`, farad.
double equivalent_f(const model::SecondaryModel& bare, const model::SecondaryModel& loaded) {
    const double target_hz = loaded.modes_hz()[0];
    const auto above = [&](double c) { return target_hz - bare.with_head_capacitance(c).modes_hz()[0]; };
    double high = 1e-11;
    while (above(high) < 0 && high < 1e-6) high *= 2;
    return root(above, 0, high);
}

}  // namespace

TopLoadShift shift_of(const KnownValue& bare, const KnownValue& loaded, bool same_clock) {
    const ClockShare a = clock_share(bare), b = clock_share(loaded);
    const double ratio = loaded.value / bare.value;
    TopLoadShift shift;
    shift.shift_hz = loaded.value - bare.value;
    shift.relative = ratio - 1;
    const double rest = std::hypot(a.rest * bare.value, b.rest * loaded.value);
    const double clock = same_clock ? std::abs(a.clock * bare.value - b.clock * loaded.value)
                                    : std::hypot(a.clock * bare.value, b.clock * loaded.value);
    shift.shift_u95_hz = 2 * std::hypot(rest, clock);
    const double clock_ratio = same_clock ? std::abs(a.clock - b.clock) : std::hypot(a.clock, b.clock);
    shift.relative_u95 = 2 * ratio * std::hypot(a.rest, b.rest, clock_ratio);
    return shift;
}

Result<TopLoadModel> TopLoadModel::build(const model::CoilDescription& coil) {
    auto loaded = measure::ShapeFamily::build(coil);
    if (!loaded) return loaded.error();
    model::CoilDescription without = coil;
    without.topload.clear();
    model::ModelOptions same;
    same.sections = loaded->member(0).sections();
    auto bare = measure::ShapeFamily::build(without, same);
    if (!bare) return bare.error();

    TopLoadModel model(measure::LoadingCurve::of(*bare));
    model.inductance_prior_ = bare->inductance_prior();
    model.capacitance_prior_ = bare->capacitance_prior();
    if (coil.topload.empty()) return model;
    Capacitance& c = model.calculated_;
    c.value_f = equivalent_f(bare->member(0), loaded->member(0));
    double variance = 0;
    for (std::size_t k = 0; k < loaded->names().size(); ++k) {
        const std::string& name = loaded->names()[k];
        // The bare coil moved the same way; what moves the top load alone leaves it as it is.
        const auto at = std::find(bare->names().begin(), bare->names().end(), name);
        const bool shared = at != bare->names().end();
        const std::size_t member = shared ? 1 + static_cast<std::size_t>(at - bare->names().begin()) : 0;
        const double change = equivalent_f(bare->member(member), loaded->member(1 + k)) - c.value_f;
        c.budget.push_back({name, std::abs(change)});
        model.of_topload_.push_back(!shared);
        model.signed_f_.push_back(change);
        variance += change * change;
    }
    const double form = kFormStandard * c.value_f;
    c.budget.push_back({"body against capacitor", form});
    model.of_topload_.push_back(true);
    model.signed_f_.push_back(form);
    c.u95_f = 2 * std::sqrt(variance + form * form);
    return model;
}

double TopLoadModel::ratio_squared_at(double share, int moved) const {
    std::vector<double> shape(std::max<std::size_t>(curve_.shapes(), 1) + 1, 0.0);
    if (moved >= 0) shape[static_cast<std::size_t>(moved)] = 1;
    return curve_.own_f(share * curve_.own_f(), 1, shape.data()) / curve_.own_f() + share;
}

double TopLoadModel::share_at(double ratio_squared, int moved) const {
    // Below 1, which only noise can give, the straight line goes on.
    if (ratio_squared <= 1) return (ratio_squared - 1) / ((ratio_squared_at(1e-4, moved) - 1) / 1e-4);
    double high = 1;
    while (ratio_squared_at(high, moved) < ratio_squared && high < 1e9) high *= 2;
    return root([&](double x) { return ratio_squared_at(x, moved) - ratio_squared; }, 0, high);
}

Capacitance TopLoadModel::added(const Pair& pair) const {
    const double ratio_squared = std::pow(pair.bare.value / pair.loaded.value, 2);
    const double share = share_at(ratio_squared, -1);
    const double step = 1e-4;
    const double slope = (share_at(ratio_squared + step, -1) - share_at(ratio_squared, -1)) / step;

    // own(0) of the bare coil.
    const double omega = 2 * std::numbers::pi * pair.bare.value;
    double own_f = 0, own_relative = 0, follows_bare = 1;  // how far own(0) goes with 1/f_bare^2
    const char* own_source = "measured inductance";
    if (pair.inductance) {
        own_f = 1 / (omega * omega * pair.inductance->value);
        own_relative = pair.inductance->u95 / 2 / pair.inductance->value;
    } else {
        // The measured resonance fixes the product L own(0); each takes its share by how well it was known.
        const double off = std::log(1 / (omega * omega * curve_.inductance_h() * curve_.own_f()));
        const double l = inductance_prior_, c = capacitance_prior_;
        follows_bare = c * c / (l * l + c * c);
        own_f = curve_.own_f() * std::exp(off * follows_bare);
        own_relative = l * c / std::hypot(l, c);
        own_source = "described inductance and capacitance";
    }

    Capacitance added;
    added.value_f = own_f * share;
    const ClockShare bare = clock_share(pair.bare), loaded = clock_share(pair.loaded);
    const double by_loaded = -2 * ratio_squared * slope * own_f;  // change per relative change of the resonance
    const double by_bare = -by_loaded - 2 * follows_bare * added.value_f;
    added.budget = {{"resonance without top load", std::abs(by_bare) * bare.rest},
                    {"resonance with top load", std::abs(by_loaded) * loaded.rest},
                    {"clock", pair.same_clock ? std::abs(by_bare * bare.clock + by_loaded * loaded.clock)
                                              : std::hypot(by_bare * bare.clock, by_loaded * loaded.clock)},
                    {own_source, std::abs(added.value_f) * own_relative},
                    {"body against capacitor", std::abs(added.value_f) * kFormStandard}};
    for (std::size_t k = 0; k < curve_.shapes(); ++k) {
        const double moved = own_f * (share_at(ratio_squared, static_cast<int>(k)) - share);
        added.budget.push_back({"shape: " + curve_.names()[k], std::abs(moved)});
    }
    double variance = 0;
    for (const auto& line : added.budget) variance += line.u_f * line.u_f;
    added.u95_f = 2 * std::sqrt(variance);
    return added;
}

std::optional<Predicted> TopLoadModel::instead(const Pair& pair, const TopLoadModel& other) const {
    if (!(calculated_.value_f > 0)) return std::nullopt;
    Predicted out;
    out.capacitance_ratio = other.calculated_.value_f / calculated_.value_f;
    const double ratio_squared = std::pow(pair.bare.value / pair.loaded.value, 2);
    const auto predict = [&](double measured_ratio_squared, double bare_hz, double relative_c) {
        const double x = share_at(measured_ratio_squared, -1) * out.capacitance_ratio * (1 + relative_c);
        return bare_hz / std::sqrt(ratio_squared_at(std::max(x, 0.0), -1));
    };
    out.frequency_hz = predict(ratio_squared, pair.bare.value, 0);
    const double step = 1e-5;
    const double by_bare =
        (predict(ratio_squared * (1 + 2 * step), pair.bare.value * (1 + step), 0) - out.frequency_hz) / step;
    const double by_loaded = (predict(ratio_squared * (1 - 2 * step), pair.bare.value, 0) - out.frequency_hz) / step;
    const double by_ratio = (predict(ratio_squared, pair.bare.value, step) - out.frequency_hz) / step;
    const ClockShare bare = clock_share(pair.bare), loaded = clock_share(pair.loaded);
    double variance = std::pow(by_bare * bare.rest, 2) + std::pow(by_loaded * loaded.rest, 2) +
                      std::pow(by_bare * bare.clock, 2) + std::pow(by_loaded * loaded.clock, 2);
    if (pair.same_clock) variance += 2 * by_bare * bare.clock * by_loaded * loaded.clock;
    // Each top load's own sizes are its own; what belongs to coil and room moves both.
    const auto relative = [](const TopLoadModel& m, std::size_t k) {
        return m.calculated_.value_f > 0 ? m.signed_f_[k] / m.calculated_.value_f : 0.0;
    };
    double ratio_variance = 0;
    for (std::size_t k = 0; k < signed_f_.size(); ++k) {
        double change = relative(*this, k);
        if (!of_topload_[k]) {
            for (std::size_t i = 0; i < other.signed_f_.size(); ++i) {
                if (other.calculated_.budget[i].source == calculated_.budget[k].source) change -= relative(other, i);
            }
        }
        ratio_variance += change * change;
    }
    for (std::size_t i = 0; i < other.signed_f_.size(); ++i) {
        if (other.of_topload_[i]) ratio_variance += std::pow(relative(other, i), 2);
    }
    variance += by_ratio * by_ratio * ratio_variance;
    for (std::size_t k = 0; k < curve_.shapes(); ++k) {
        const int moved = static_cast<int>(k);
        const double x = share_at(ratio_squared, moved) * out.capacitance_ratio;
        const double f = pair.bare.value / std::sqrt(ratio_squared_at(std::max(x, 0.0), moved));
        variance += std::pow(f - out.frequency_hz, 2);
    }
    out.frequency_u95_hz = 2 * std::sqrt(variance);
    return out;
}

}  // namespace coldtune::tuning
