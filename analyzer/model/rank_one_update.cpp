#include "analyzer/model/rank_one_update.hpp"

#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <vector>

namespace coldtune::model {
namespace {

using Eigen::Index;

// A root written as the old value it is nearest to plus the exact remainder.
struct Root {
    Index origin = 0;
    double offset = 0;
};

class Secular {
public:
    Secular(const Eigen::VectorXd& d, const Eigen::VectorXd& weight, double above)
        : d_(d), weight_(weight), above_(above) {}

    [[nodiscard]] Root root(Index i) const {
        const Index n = d_.size();
        const double gap = (i + 1 < n ? d_(i + 1) : above_) - d_(i);
        if (!(gap > 0)) return {i, 0.0};
        // The half of the interval that holds the root decides which end it is measured from.
        const bool near_low = i + 1 == n || value(i, i, 0.5 * gap) <= 0;
        const Index origin = near_low ? i : i + 1;
        const double low = near_low ? 0.0 : -0.5 * gap;
        const double high = i + 1 == n ? gap : (near_low ? 0.5 * gap : 0.0);
        const auto f = [&](double offset) { return value(i, origin, offset); };
        const double f_low = f(low);
        const double f_high = f(high);
        if (f_low <= 0) return {origin, low};
        if (f_high >= 0) return {origin, high};
        std::uintmax_t rounds = 200;
        const auto bracket = boost::math::tools::toms748_solve(f, low, high, f_low, f_high,
                                                               boost::math::tools::eps_tolerance<double>(50), rounds);
        return {origin, 0.5 * (bracket.first + bracket.second)};
    }

private:
    // (1 + sum weight_j / (d_j - x)) with the poles at d_i and d_(i+1) multiplied away; positive at d_i, negative at
    // d_(i+1). x = d_origin + offset.
    [[nodiscard]] double value(Index i, Index origin, double offset) const {
        const Index n = d_.size();
        double rest = 1.0;
        for (Index j = 0; j < n; ++j) {
            if (j == i || j == i + 1) continue;
            rest += weight_(j) / ((d_(j) - d_(origin)) - offset);
        }
        const double low = (d_(i) - d_(origin)) - offset;
        if (i + 1 == n) return low * rest + weight_(i);
        const double high = (d_(i + 1) - d_(origin)) - offset;
        return low * high * rest + weight_(i) * high + weight_(i + 1) * low;
    }

    const Eigen::VectorXd& d_;
    const Eigen::VectorXd& weight_;
    double above_;
};

// All entries of q reach something.
RankOneUpdate update_active(const Eigen::VectorXd& d, const Eigen::VectorXd& q, double rho) {
    const Index n = d.size();
    const Eigen::VectorXd weight = rho * q.cwiseAbs2();
    // A little past the bound d_n + rho |q|^2, so that rounding cannot put the root outside.
    const Secular secular(d, weight, d(n - 1) + weight.sum() * (1.0 + 1e-12));

    RankOneUpdate update;
    update.values.resize(n);
    Eigen::MatrixXd gap(n, n);  // gap(i, k) = d_i - value_k, without cancellation
    for (Index k = 0; k < n; ++k) {
        const Root root = secular.root(k);
        update.values(k) = d(root.origin) + root.offset;
        for (Index i = 0; i < n; ++i) gap(i, k) = (d(i) - d(root.origin)) - root.offset;
    }
    // The q whose exact values these are, as products of ratios near 1.
    Eigen::VectorXd exact(n);
    for (Index i = 0; i < n; ++i) {
        double product = std::abs(gap(i, i));
        for (Index j = 0; j < n; ++j) {
            if (j != i) product *= std::abs(gap(i, j) / (d(j) - d(i)));
        }
        exact(i) = std::copysign(std::sqrt(product), q(i));
    }
    update.vectors.resize(n, n);
    for (Index k = 0; k < n; ++k) update.vectors.col(k) = exact.cwiseQuotient(gap.col(k)).normalized();
    return update;
}

}  // namespace

RankOneUpdate update_diagonal(const Eigen::VectorXd& d, const Eigen::VectorXd& q, double rho) {
    const Index n = d.size();
    // Entries whose change is lost in rounding keep their value and unit vector; the rest is a problem of its own.
    const double negligible = 1e-34 * d.cwiseAbs().maxCoeff();
    std::vector<Index> active;
    for (Index i = 0; i < n; ++i) {
        if (rho * q(i) * q(i) > negligible) active.push_back(i);
    }
    const auto m = static_cast<Index>(active.size());
    RankOneUpdate inner;
    if (m > 0) inner = update_active(d(active), q(active), rho);

    // Merge, ascending.
    struct Entry {
        double value;
        Index inner;  // column of the inner problem, or -1
        Index old;
    };
    std::vector<Entry> entries;
    for (Index k = 0; k < m; ++k) entries.push_back({inner.values(k), k, -1});
    for (Index i = 0; i < n; ++i) {
        if (!std::binary_search(active.begin(), active.end(), i)) entries.push_back({d(i), -1, i});
    }
    std::sort(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) { return a.value < b.value; });
    RankOneUpdate update;
    update.values.resize(n);
    update.vectors.setZero(n, n);
    for (Index k = 0; k < n; ++k) {
        const Entry& entry = entries[static_cast<std::size_t>(k)];
        update.values(k) = entry.value;
        if (entry.inner < 0) {
            update.vectors(entry.old, k) = 1.0;
        } else {
            for (Index i = 0; i < m; ++i) {
                update.vectors(active[static_cast<std::size_t>(i)], k) = inner.vectors(i, entry.inner);
            }
        }
    }
    return update;
}

}  // namespace coldtune::model
