#include "analyzer/model/strip_interaction.hpp"

#include <algorithm>
#include <array>
#include <boost/math/special_functions/legendre.hpp>
#include <cmath>
#include <cstddef>
#include <vector>

#include "analyzer/model/ring_kernel.hpp"

namespace coldtune::model {
namespace {

constexpr int kMaxOrder = 16;
constexpr int kDeepest = 40;  // halvings
constexpr int kBasisCount = kMaxStripDegree + 1;

using Basis = std::array<double, kBasisCount>;

// P_0..P_degree at 2u - 1 by the three-term recurrence.
void legendre(double u, int degree, double* values) {
    const double x = 2.0 * u - 1.0;
    values[0] = 1.0;
    if (degree >= 1) values[1] = x;
    for (int k = 1; k < degree; ++k) {
        values[k + 1] = ((2 * k + 1) * x * values[k] - k * values[k - 1]) / (k + 1);
    }
}

// Gauss-Legendre rule on [0, 1].
struct Rule {
    int count = 0;
    std::array<double, kMaxOrder> node{};
    std::array<double, kMaxOrder> weight{};
};

Rule make_rule(int order) {
    Rule rule;
    for (const double zero : boost::math::legendre_p_zeros<double>(order)) {
        const double slope = boost::math::legendre_p_prime(order, zero);
        const double weight = 1.0 / ((1.0 - zero * zero) * slope * slope);
        const auto put = [&](double x) {
            rule.node[static_cast<std::size_t>(rule.count)] = 0.5 * (1.0 + x);
            rule.weight[static_cast<std::size_t>(rule.count)] = weight;
            ++rule.count;
        };
        put(zero);
        if (zero != 0.0) put(-zero);
    }
    return rule;
}

const Rule& rule_of(int order) {
    static const std::array<Rule, kMaxOrder + 1> rules = [] {
        std::array<Rule, kMaxOrder + 1> all;
        for (int order_i = 1; order_i <= kMaxOrder; ++order_i)
            all[static_cast<std::size_t>(order_i)] = make_rule(order_i);
        return all;
    }();
    return rules[static_cast<std::size_t>(order)];
}

// Part of a strip: u from start to start + span.
struct Piece {
    const Strip* strip;
    Placement placement;
    double start;
    double span;

    [[nodiscard]] MeridianPoint at(double u) const {
        MeridianPoint p = strip->at(u);
        p.z = placement.sign * p.z + placement.shift;
        return p;
    }
    [[nodiscard]] double size() const { return strip->speed * span; }
    [[nodiscard]] Piece first_half() const { return {strip, placement, start, 0.5 * span}; }
    [[nodiscard]] Piece second_half() const { return {strip, placement, start + 0.5 * span, 0.5 * span}; }
};

struct Sample {
    MeridianPoint point;
    Basis psi;  // times the weight
};

// A quadrature point of a piece: position and weighted basis.
void sample(const Piece& piece, double u, double weight, Sample& out) {
    const MeridianPoint p = piece.strip->at(u);
    out.point = {p.r, piece.placement.sign * p.z + piece.placement.shift};
    legendre(u, piece.strip->degree, out.psi.data());
    const double scale = weight * p.r / piece.strip->mean_radius;
    for (int k = 0; k <= piece.strip->degree; ++k) out.psi[static_cast<std::size_t>(k)] *= scale;
}

// Largest radius at the ends and the middle.
double widest(const Piece& piece) {
    return std::max(
        {piece.at(piece.start).r, piece.at(piece.start + 0.5 * piece.span).r, piece.at(piece.start + piece.span).r});
}

// Plain, where std::hypot would guard against overflow: metres do not.
double distance(MeridianPoint p, MeridianPoint q) {
    const double across = p.r - q.r, along = p.z - q.z;
    return std::sqrt(across * across + along * along);
}

class Pair {
public:
    Pair(double tolerance, double weight, double* block, int degree_a, int degree_b)
        : log_tolerance_(std::log(1.0 / tolerance)),
          singular_order_(tolerance < 1e-9 ? kMaxOrder : std::min(kMaxOrder, 8 + std::max(degree_a, degree_b))),
          weight_(weight),
          block_(block),
          degree_a_(degree_a),
          degree_b_(degree_b) {}

    void integrate(const Piece& a, const Piece& b, int depth) {
        if (a.strip == b.strip && a.start == b.start && a.span == b.span && b.placement.sign == 1.0 &&
            b.placement.shift == 0.0) {
            // Longer than its diameter, the kernel is a peak as wide as the radius and no longer a logarithm.
            if (a.size() <= 2.0 * widest(a) || depth >= kDeepest) {
                self(a);
                return;
            }
            for (const Piece& p : {a.first_half(), a.second_half()}) {
                for (const Piece& q : {b.first_half(), b.second_half()}) integrate(p, q, depth + 1);
            }
            return;
        }
        const MeridianPoint a0 = a.at(a.start);
        const MeridianPoint a1 = a.at(a.start + a.span);
        const MeridianPoint b0 = b.at(b.start);
        const MeridianPoint b1 = b.at(b.start + b.span);
        const double size_a = a.size();
        const double size_b = b.size();
        const double touch = 1e-11 * (size_a + size_b + a1.r + b1.r + std::abs(a1.z) + std::abs(b1.z));
        const bool t00 = distance(a0, b0) < touch;
        const bool t01 = distance(a0, b1) < touch;
        const bool t10 = distance(a1, b0) < touch;
        const bool t11 = distance(a1, b1) < touch;
        const int touching = int{t00} + int{t01} + int{t10} + int{t11};
        const double larger = std::max(size_a, size_b);
        if (touching == 1 && larger < 2.5 * std::min(size_a, size_b) &&
            (larger <= 2.0 * std::max(widest(a), widest(b)) || depth >= kDeepest)) {
            corner(a, b, t10 || t11, t01 || t11);
            return;
        }
        if (touching == 0) {
            const MeridianPoint am = a.at(a.start + 0.5 * a.span);
            const MeridianPoint bm = b.at(b.start + 0.5 * b.span);
            // Two lower bounds of the gap: exact for pieces in one line, and for pieces side by side.
            const double in_line = distance(am, bm) - 0.5 * (size_a + size_b);
            double nearest = distance(am, bm);
            for (const MeridianPoint& p : {a0, am, a1}) {
                for (const MeridianPoint& q : {b0, bm, b1}) nearest = std::min(nearest, distance(p, q));
            }
            const double quarter = 0.25 * larger;
            const double beside = std::sqrt(std::max(0.0, nearest * nearest - quarter * quarter));
            const double gap = std::max(in_line, beside);
            const int order_a = order(gap / size_a, degree_a_);
            const int order_b = order(gap / size_b, degree_b_);
            if (std::max(order_a, order_b) <= kMaxOrder - 2) {
                product(a, b, order_a, order_b);
                return;
            }
        }
        // Bodies that cross each other never separate; their crossing holds no charge worth more depth.
        if (depth >= kDeepest) {
            product(a, b, kMaxOrder, kMaxOrder - 1);
            return;
        }
        if (size_a >= size_b) {
            integrate(a.first_half(), b, depth + 1);
            integrate(a.second_half(), b, depth + 1);
        } else {
            integrate(a, b.first_half(), depth + 1);
            integrate(a, b.second_half(), depth + 1);
        }
    }

private:
    // Gauss-Legendre of n points is wrong by about rho^(-2n), rho the sum of the half axes of the Bernstein ellipse
    // through the nearest singularity, at the relative distance `gap` beyond the end of the interval.
    [[nodiscard]] int order(double gap, int degree) const {
        if (gap < 0.05) return 2 * kMaxOrder;  // no useful bound: halve
        const double x = 1.0 + 2.0 * gap;
        const double log_rho = std::log(x + std::sqrt(x * x - 1.0));
        return std::max(1, static_cast<int>(std::ceil(0.5 * log_tolerance_ / log_rho))) + (degree + 2) / 2;
    }

    void add(const Sample& p, const Sample& q, bool swapped_too) {
        const double g = weight_ * ring_kernel(p.point.r, p.point.z, q.point.r, q.point.z);
        const int stride = degree_b_ + 1;
        for (int k = 0; k <= degree_a_; ++k) {
            for (int l = 0; l <= degree_b_; ++l) {
                const double product_kl = g * p.psi[static_cast<std::size_t>(k)] * q.psi[static_cast<std::size_t>(l)];
                block_[k * stride + l] += product_kl;
                if (swapped_too) block_[l * stride + k] += product_kl;
            }
        }
    }

    void product(const Piece& a, const Piece& b, int order_a, int order_b) {
        const Rule& rule_a = rule_of(order_a);
        const Rule& rule_b = rule_of(order_b);
        std::array<Sample, kMaxOrder> far;
        for (int j = 0; j < rule_b.count; ++j) {
            const auto i = static_cast<std::size_t>(j);
            sample(b, b.start + rule_b.node[i] * b.span, rule_b.weight[i] * b.span, far[i]);
        }
        Sample near;
        Basis potential;
        for (int i = 0; i < rule_a.count; ++i) {
            const auto n = static_cast<std::size_t>(i);
            sample(a, a.start + rule_a.node[n] * a.span, rule_a.weight[n] * a.span * weight_, near);
            potential.fill(0.0);
            for (int j = 0; j < rule_b.count; ++j) {
                const Sample& q = far[static_cast<std::size_t>(j)];
                const double g = ring_kernel(near.point.r, near.point.z, q.point.r, q.point.z);
                for (int l = 0; l <= degree_b_; ++l) {
                    potential[static_cast<std::size_t>(l)] += g * q.psi[static_cast<std::size_t>(l)];
                }
            }
            for (int k = 0; k <= degree_a_; ++k) {
                for (int l = 0; l <= degree_b_; ++l) {
                    block_[k * (degree_b_ + 1) + l] +=
                        near.psi[static_cast<std::size_t>(k)] * potential[static_cast<std::size_t>(l)];
                }
            }
        }
    }

    // Both points on the same piece: t > t' by t = x, t' = x (1 - y); the logarithms are ln y and ln x, made harmless
    // by x = s^2 (the Jacobian x helps) and y = s^4. t runs away from the singular end, so that ln(t + t') of an edge
    // is a function of y plus ln x too, or else away from the axis, where the kernel scales with 1/x. The other
    // triangle is the same with the points swapped.
    void self(const Piece& a) {
        const Rule& rule = rule_of(singular_order_);
        const bool towards_axis = a.at(a.start + a.span).r < a.at(a.start).r;
        const bool reversed = a.strip->exponent == 1.0 ? towards_axis : a.strip->singular_at_end;
        const auto place = [&](double t) { return a.start + (reversed ? 1.0 - t : t) * a.span; };
        Sample p;
        Sample q;
        for (int i = 0; i < rule.count; ++i) {
            const double sx = rule.node[static_cast<std::size_t>(i)];
            const double x = sx * sx;
            const double wx = 2.0 * sx * rule.weight[static_cast<std::size_t>(i)] * x * a.span;
            sample(a, place(x), wx, p);
            for (int j = 0; j < rule.count; ++j) {
                const double sy = rule.node[static_cast<std::size_t>(j)];
                const double y = sy * sy * sy * sy;
                const double wy = 4.0 * sy * sy * sy * rule.weight[static_cast<std::size_t>(j)] * a.span;
                sample(a, place(x * (1.0 - y)), wy, q);
                add(p, q, true);
            }
        }
    }

    // Two pieces sharing one end: distances t, t' from it, (t, t') = (x, x y) and (x y, x); the logarithm is ln x.
    void corner(const Piece& a, const Piece& b, bool at_end_of_a, bool at_end_of_b) {
        const Rule& rule = rule_of(singular_order_);
        const auto place = [](const Piece& piece, bool at_end, double t) {
            return piece.start + (at_end ? 1.0 - t : t) * piece.span;
        };
        Sample p;
        Sample q;
        for (int i = 0; i < rule.count; ++i) {
            const double s = rule.node[static_cast<std::size_t>(i)];
            const double x = s * s * s;
            const double wx = 3.0 * s * s * rule.weight[static_cast<std::size_t>(i)] * x;
            for (int j = 0; j < rule.count; ++j) {
                const double y = rule.node[static_cast<std::size_t>(j)];
                const double wy = rule.weight[static_cast<std::size_t>(j)];
                sample(a, place(a, at_end_of_a, x), wx * a.span, p);
                sample(b, place(b, at_end_of_b, x * y), wy * b.span, q);
                add(p, q, false);
                sample(a, place(a, at_end_of_a, x * y), wx * a.span, p);
                sample(b, place(b, at_end_of_b, x), wy * b.span, q);
                add(p, q, false);
            }
        }
    }

    double log_tolerance_;
    int singular_order_;
    double weight_;
    double* block_;
    int degree_a_;
    int degree_b_;
};

}  // namespace

void add_interaction(const Strip& a, const Strip& b, Placement placement, double tolerance, double weight,
                     double* block) {
    Pair pair(tolerance, weight, block, a.degree, b.degree);
    pair.integrate({&a, {}, 0.0, 1.0}, {&b, placement, 0.0, 1.0}, 0);
}

StripMoments strip_moments(const Strip& strip) {
    StripMoments moments;
    const Rule& rule = rule_of(kMaxOrder);
    Sample s;
    for (int i = 0; i < rule.count; ++i) {
        const double u = rule.node[static_cast<std::size_t>(i)];
        sample({&strip, {}, 0.0, 1.0}, u, rule.weight[static_cast<std::size_t>(i)], s);
        for (int k = 0; k <= strip.degree; ++k) {
            const double psi = s.psi[static_cast<std::size_t>(k)];
            moments.charge[k] += psi;
            moments.ramp[k] += psi * strip.fraction(u);
            moments.moment[k] += psi * s.point.z;
        }
    }
    return moments;
}

}  // namespace coldtune::model
