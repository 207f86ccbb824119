#include "dsp/statistics.hpp"

#include <cmath>

namespace coldtune::dsp {

void RunningMoments::add(double value) {
    // Welford, Technometrics 4 (1962) 419: the squares are taken about the running mean, so a small scatter on a large
    // value does not drown in rounding.
    ++count_;
    const double from_old = value - mean_;
    mean_ += from_old / static_cast<double>(count_);
    sum_squares_ += from_old * (value - mean_);
}

std::optional<double> RunningMoments::variance() const {
    if (count_ < 2) return std::nullopt;
    return sum_squares_ / static_cast<double>(count_ - 1);
}

std::optional<double> RunningMoments::standard_uncertainty() const {
    const auto of_one = variance();
    if (!of_one) return std::nullopt;
    return std::sqrt(*of_one / static_cast<double>(count_));
}

double Estimates::standard_uncertainty(Eigen::Index i) const {
    return std::sqrt(covariance(i, i));
}

double Estimates::correlation(Eigen::Index i, Eigen::Index j) const {
    const double product = standard_uncertainty(i) * standard_uncertainty(j);
    // A quantity without uncertainty is correlated with nothing.
    return product > 0 ? covariance(i, j) / product : 0.0;
}

std::optional<Estimates> means_of(const Eigen::MatrixXd& observations) {
    const Eigen::Index n = observations.rows();
    if (n < 2 || observations.cols() == 0) return std::nullopt;
    Estimates result;
    result.value = observations.colwise().mean().transpose();
    const Eigen::MatrixXd centred = observations.rowwise() - result.value.transpose();
    result.covariance = centred.transpose() * centred / static_cast<double>(n * (n - 1));
    return result;
}

Estimates propagate(const Estimates& inputs, const std::function<Eigen::VectorXd(const Eigen::VectorXd&)>& function) {
    Estimates result;
    result.value = function(inputs.value);
    Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(result.value.size(), inputs.value.size());
    for (Eigen::Index i = 0; i < inputs.value.size(); ++i) {
        const double step = inputs.standard_uncertainty(i);
        if (!(step > 0)) continue;  // an exact input passes on nothing
        Eigen::VectorXd shifted = inputs.value;
        shifted(i) = inputs.value(i) + step;
        const Eigen::VectorXd above = function(shifted);
        shifted(i) = inputs.value(i) - step;
        jacobian.col(i) = (above - function(shifted)) / (2 * step);
    }
    result.covariance = jacobian * inputs.covariance * jacobian.transpose();
    return result;
}

}  // namespace coldtune::dsp
