#include "analyzer/model/spark_exchange.hpp"

#include <fmt/format.h>

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <algorithm>
#include <boost/math/tools/minima.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

namespace coldtune::model {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

constexpr double kLeastEnergy = 0.01;  // of the start: where the list of exchanges ends

Status check(const TwoCircuits& c) {
    const auto within = [](const char* what, double value, double low, double high) -> Status {
        // Written so that a NaN fails.
        if (value >= low && value <= high) return Done{};
        return bad_input(fmt::format("{} is {:.6g}, but must lie between {:g} and {:g}", what, value, low, high));
    };
    if (const Status ok = within("the tank's frequency in hertz", c.primary_hz, 1, 1e9); !ok) return ok;
    if (const Status ok = within("the secondary's frequency in hertz", c.secondary_hz, 1, 1e9); !ok) return ok;
    if (const Status ok = within("the tank's frequency over the secondary's", c.primary_hz / c.secondary_hz, 0.1, 10);
        !ok) {
        return ok;
    }
    if (const Status ok = within("the tank's Q", c.primary_q, 2, 1e6); !ok) return ok;
    if (const Status ok = within("the secondary's Q", c.secondary_q, 2, 1e6); !ok) return ok;
    return within("the coupling k", c.k, 1e-4, 0.95);
}

// The two oscillations: rates, and the complex amplitude of each circuit's capacitor voltage in either.
struct Oscillations {
    std::array<Complex, 2> rate;
    std::array<Complex, 2> primary, secondary;

    // Voltages are the real parts of these.
    [[nodiscard]] Complex primary_at(double t) const { return at(primary, t); }
    [[nodiscard]] Complex secondary_at(double t) const { return at(secondary, t); }

private:
    [[nodiscard]] Complex at(const std::array<Complex, 2>& amplitude, double t) const {
        return amplitude[0] * std::exp(rate[0] * t) + amplitude[1] * std::exp(rate[1] * t);
    }
};

// State: v1, j1, v2, j2 with v = q / sqrt(C) and j = sqrt(L) i, so that v' = w j.
Oscillations solve(const TwoCircuits& c) {
    const double w1 = 2 * pi * c.primary_hz, w2 = 2 * pi * c.secondary_hz;
    double k = c.k;
    for (;;) {
        Eigen::Matrix4d system = Eigen::Matrix4d::Zero();
        system(0, 1) = w1;
        system(2, 3) = w2;
        const double inverse = 1 / (1 - k * k);
        const Eigen::RowVector4d first(-w1, -w1 / c.primary_q, 0, 0), second(0, 0, -w2, -w2 / c.secondary_q);
        system.row(1) = inverse * (first - k * second);
        system.row(3) = inverse * (second - k * first);
        const Eigen::EigenSolver<Eigen::Matrix4d> solver(system);
        const Eigen::Matrix4cd vectors = solver.eigenvectors();
        const Eigen::FullPivLU<Eigen::Matrix4cd> lu(vectors);
        if (lu.rcond() < 1e-8) {
            // Exactly where the beat disappears two eigenvectors fall together; a millionth beside it nothing differs.
            k *= 1 + 1e-6;
            continue;
        }
        const Eigen::Vector4cd start = lu.solve(Eigen::Vector4cd::Unit(0));
        Oscillations o;
        std::size_t found = 0;
        for (Eigen::Index m = 0; m < 4 && found < 2; ++m) {
            const Complex rate = solver.eigenvalues()(m);
            if (!(rate.imag() > 0)) continue;
            o.rate[found] = rate;
            o.primary[found] = 2.0 * start(m) * vectors(0, m);
            o.secondary[found] = 2.0 * start(m) * vectors(2, m);
            ++found;
        }
        if (o.rate[0].imag() > o.rate[1].imag()) {
            std::swap(o.rate[0], o.rate[1]);
            std::swap(o.primary[0], o.primary[1]);
            std::swap(o.secondary[0], o.secondary[1]);
        }
        return o;
    }
}

// Extremum of a function that has exactly one between two times; `sign` +1 seeks a minimum.
template <typename Function>
double extremum(Function function, double sign, double low, double high) {
    const auto turned = [&](double t) { return sign * function(t); };
    // Half the digits of a double: an extremum is flat.
    return boost::math::tools::brent_find_minima(turned, low, high, std::numeric_limits<double>::digits / 2).first;
}

std::vector<Exchange> exchanges_of(const Oscillations& o, double primary_hz, double until_s, std::size_t most) {
    const double beat = o.rate[1].imag() - o.rate[0].imag();
    // Less than a tenth of a beat until everything has died: no exchange to speak of.
    std::vector<Exchange> list;
    if (!(beat * until_s > 0.2 * pi)) return list;
    const auto energy = [&](double t) { return std::norm(o.primary_at(t)); };
    const double step = 2 * pi / beat / 64;
    double before = energy(0), here = energy(step);
    bool falling = true;
    for (double t = step; t < until_s && list.size() < most; t += step) {
        const double next = energy(t + step);
        const bool turns = falling ? next > here && here <= before : next < here && here >= before;
        if (turns) {
            Exchange e;
            e.time_s = extremum(energy, falling ? 1 : -1, t - step, t + step);
            e.cycles = e.time_s * primary_hz;
            e.primary_share = energy(e.time_s);
            e.secondary_share = std::norm(o.secondary_at(e.time_s));
            e.to_secondary = falling;
            if (e.primary_share + e.secondary_share < kLeastEnergy) break;
            list.push_back(e);
            falling = !falling;
        }
        before = here;
        here = next;
    }
    return list;
}

}  // namespace

Result<SparkExchange> spark_exchange(const TwoCircuits& circuits, const SparkOptions& options) {
    if (const Status ok = check(circuits); !ok) return ok.error();
    const Oscillations o = solve(circuits);
    SparkExchange result;
    for (std::size_t m = 0; m < 2; ++m) result.split[m] = {o.rate[m].imag() / (2 * pi), -1 / o.rate[m].real()};
    // Energy falls twice as fast as the voltage.
    const double slowest_s = std::max(result.split[0].decay_s, result.split[1].decay_s);
    const double dead_s = 0.5 * slowest_s * std::log(1 / kLeastEnergy) + 1 / circuits.primary_hz;
    result.exchanges = exchanges_of(o, circuits.primary_hz, dead_s, options.most_exchanges);

    const double shown_s = result.exchanges.empty() ? dead_s : std::min(dead_s, 1.15 * result.exchanges.back().time_s);
    const std::size_t points = std::max<std::size_t>(options.envelope_points, 2);
    for (std::size_t i = 0; i < points; ++i) {
        const double t = shown_s * static_cast<double>(i) / static_cast<double>(points - 1);
        result.envelopes.time_s.push_back(t);
        result.envelopes.primary_voltage.push_back(std::abs(o.primary_at(t)));
        result.envelopes.secondary_voltage.push_back(std::abs(o.secondary_at(t)));
    }
    // The highest peak of the voltage itself lies beside the top of its envelope: 64 points a cycle find it, and the
    // parabola that a search fits to them settles it.
    const auto head = [&](double t) { return std::abs(o.secondary_at(t).real()); };
    const double fastest_hz = result.split[1].frequency_hz;
    const double step = 1 / (64 * fastest_hz);
    const double search_s = result.exchanges.empty() ? dead_s : std::min(dead_s, 2 * result.exchanges.front().time_s);
    double best_s = 0;
    for (double t = 0; t < search_s; t += step) {
        if (head(t) > head(best_s)) best_s = t;
    }
    result.secondary_peak_s = extremum(head, -1, std::max(0.0, best_s - step), best_s + step);
    result.secondary_peak = head(result.secondary_peak_s);
    return result;
}

Result<Waveforms> spark_waveforms(const TwoCircuits& circuits, const std::vector<double>& time_s) {
    if (const Status ok = check(circuits); !ok) return ok.error();
    const Oscillations o = solve(circuits);
    Waveforms result;
    for (const double t : time_s) {
        result.primary_voltage.push_back(o.primary_at(t).real());
        result.secondary_voltage.push_back(o.secondary_at(t).real());
    }
    return result;
}

}  // namespace coldtune::model
