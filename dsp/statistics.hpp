// Means, variances and the propagation of uncertainty (JCGM 100:2008, the GUM).
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <functional>
#include <optional>
#include <span>

namespace coldtune::dsp {

// One pass, numerically safe (Welford 1962). Variance is unknown, not zero, below two samples.
class RunningMoments {
public:
    void add(double value);
    [[nodiscard]] std::size_t count() const noexcept { return count_; }
    [[nodiscard]] double mean() const noexcept { return mean_; }
    [[nodiscard]] std::optional<double> variance() const;              // of one observation, n - 1
    [[nodiscard]] std::optional<double> standard_uncertainty() const;  // of the mean, sqrt(variance / n)

private:
    std::size_t count_ = 0;
    double mean_ = 0;
    double sum_squares_ = 0;
};

// Estimates with their covariance matrix, in the order the caller chose.
struct Estimates {
    Eigen::VectorXd value;
    Eigen::MatrixXd covariance;
    [[nodiscard]] double standard_uncertainty(Eigen::Index i) const;
    [[nodiscard]] double correlation(Eigen::Index i, Eigen::Index j) const;
};

// Means of simultaneously observed quantities and the covariance OF THE MEANS (GUM eq. 17). Rows = observation sets,
// columns = quantities; at least two rows, else nullopt.
std::optional<Estimates> means_of(const Eigen::MatrixXd& observations);

// Law of propagation (GUM eq. 13 and H.9): y = f(x) to first order, Jacobian by central differences of one standard
// uncertainty.
Estimates propagate(const Estimates& inputs, const std::function<Eigen::VectorXd(const Eigen::VectorXd&)>& function);

}  // namespace coldtune::dsp
