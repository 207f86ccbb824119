#include "dsp/period_shift.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <complex>

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

// A smooth curve's slope is lost in the noise from bin to bin: at most this many groups of bins.
constexpr std::size_t most_groups = 160;
constexpr std::size_t fewest_groups = 8;
constexpr double by_chance = 1e-6;

}  // namespace

double PeriodShift::scatter() const {
    double sum = 0;
    for (const double value : relative) sum += value * value;
    return degrees_of_freedom > 0 ? std::sqrt(sum / static_cast<double>(degrees_of_freedom)) : 0;
}

double PeriodShift::mean_u95() const {
    if (degrees_of_freedom == 0) return 0;
    const boost::math::students_t student(static_cast<double>(degrees_of_freedom));
    return boost::math::quantile(student, 0.975) * scatter() / std::sqrt(static_cast<double>(relative.size()));
}

bool PeriodShift::unsteady() const {
    if (degrees_of_freedom == 0) return false;
    const boost::math::chi_squared noise(static_cast<double>(degrees_of_freedom));
    return chi_square > boost::math::quantile(boost::math::complement(noise, by_chance));
}

std::optional<PeriodShift> period_shift(const Response& response, const Band& window) {
    const std::size_t periods = response.of_periods.size();
    if (periods < 2) return std::nullopt;
    const auto& f = response.frequency_hz;
    const auto first = static_cast<std::size_t>(std::lower_bound(f.begin(), f.end(), window.low_hz) - f.begin());
    const auto last = static_cast<std::size_t>(std::upper_bound(f.begin(), f.end(), window.high_hz) - f.begin());
    if (last <= first) return std::nullopt;
    const std::size_t each = std::max<std::size_t>(1, (last - first) / most_groups);
    const std::size_t groups = (last - first) / each;
    if (groups < fewest_groups) return std::nullopt;

    const auto mean_of = [&](std::size_t g, const auto& values) {
        Complex sum = 0;
        for (std::size_t i = 0; i < each; ++i) sum += values[first + g * each + i];
        return sum / static_cast<double>(each);
    };
    std::vector<Complex> mean(groups);
    std::vector<double> centre(groups), variance(groups);
    for (std::size_t g = 0; g < groups; ++g) {
        mean[g] = mean_of(g, response.ratio);
        centre[g] = mean_of(g, f).real();
        variance[g] = mean_of(g, response.variance).real() / static_cast<double>(each);
    }
    // Slope along ln f; a shift up by s turns m(f) into m(f (1 - s)).
    PeriodShift shift;
    shift.relative.assign(periods, 0.0);
    double information = 0;
    for (std::size_t g = 1; g + 1 < groups; ++g) {
        const Complex slope = -centre[g] * (mean[g + 1] - mean[g - 1]) / (centre[g + 1] - centre[g - 1]);
        const double weight = 1 / variance[g];
        information += weight * std::norm(slope);
        for (std::size_t p = 0; p < periods; ++p) {
            const Complex off = mean_of(g, response.of_periods[p]) - mean[g];
            shift.relative[p] += weight * (std::conj(slope) * off).real();
        }
    }
    if (!(information > 0) || !std::isfinite(information)) return std::nullopt;
    // One quadrature has half the variance, one period that of the mean times their number.
    shift.u_relative = std::sqrt(static_cast<double>(periods) / (2 * information));
    double centre_of_all = 0;
    for (double& value : shift.relative) {
        value /= information;
        centre_of_all += value / static_cast<double>(periods);
    }
    shift.degrees_of_freedom = periods - 1;
    for (double& value : shift.relative) {
        value -= centre_of_all;
        shift.chi_square += std::pow(value / shift.u_relative, 2);
    }
    return shift;
}

std::optional<PeriodChange> period_change(const Response& response, const Band& outside) {
    const std::size_t periods = response.of_periods.size(), bins = response.frequency_hz.size();
    const std::size_t each = std::max<std::size_t>(1, bins / most_groups);
    if (periods < 2 || bins / each < fewest_groups) return std::nullopt;
    std::optional<PeriodChange> largest;
    for (std::size_t first = 0; first + each <= bins; first += each) {
        const double low = response.frequency_hz[first], high = response.frequency_hz[first + each - 1];
        if (high > outside.low_hz && low < outside.high_hz) continue;
        double variance = 0;
        for (std::size_t i = first; i < first + each; ++i) variance += response.variance[i];
        variance *= static_cast<double>(periods - 1) / std::pow(static_cast<double>(each), 2);
        for (const auto& ratio : response.of_periods) {
            Complex off = 0;
            for (std::size_t i = first; i < first + each; ++i) off += ratio[i] - response.ratio[i];
            const double size = std::abs(off) / static_cast<double>(each);
            const double significance = size * size / variance;
            if (!largest || significance > largest->significance)
                largest = PeriodChange{0.5 * (low + high), size, significance};
        }
    }
    return largest;
}

}  // namespace coldtune::dsp
