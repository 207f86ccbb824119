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
// Of the mean excitation: a part of a capture with less of it tells nothing of what it holds there.
constexpr double too_little = 0.01;

// Share of the excitation in bin k of period p.
double power_of(const Response& response, std::size_t p, std::size_t k) {
    return response.of_periods_power.empty() ? 1.0 : response.of_periods_power[p][k];
}

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
    double information = 0;
    std::vector<double> of_period(periods, 0.0), off_of(periods, 0.0);
    for (std::size_t g = 1; g + 1 < groups; ++g) {
        const Complex slope = -centre[g] * (mean[g + 1] - mean[g - 1]) / (centre[g + 1] - centre[g - 1]);
        const double weight = 1 / variance[g];
        information += weight * std::norm(slope);
        for (std::size_t p = 0; p < periods; ++p) {
            Complex off = 0;
            double power = 0;
            for (std::size_t i = 0, k = first + g * each; i < each; ++i, ++k) {
                off += power_of(response, p, k) * (response.of_periods[p][k] - response.ratio[k]);
                power += power_of(response, p, k);
            }
            off_of[p] += weight * (std::conj(slope) * off).real() / static_cast<double>(each);
            of_period[p] += weight * std::norm(slope) * power / static_cast<double>(each);
        }
    }
    if (!(information > 0) || !std::isfinite(information)) return std::nullopt;
    double centre_of_all = 0, information_of_all = 0;
    for (std::size_t p = 0; p < periods; ++p) {
        if (of_period[p] < too_little * information) continue;
        shift.relative.push_back(off_of[p] / of_period[p]);
        // One quadrature has half the variance, one period that of the mean times their number.
        shift.u_relative.push_back(std::sqrt(static_cast<double>(periods) / (2 * of_period[p])));
        centre_of_all += off_of[p];
        information_of_all += of_period[p];
    }
    if (shift.relative.size() < 2) return std::nullopt;
    shift.degrees_of_freedom = shift.relative.size() - 1;
    for (std::size_t p = 0; p < shift.relative.size(); ++p) {
        shift.relative[p] -= centre_of_all / information_of_all;
        shift.chi_square += std::pow(shift.relative[p] / shift.u_relative[p], 2);
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
        for (std::size_t p = 0; p < periods; ++p) {
            Complex off = 0;
            double power = 0, variance = 0;
            for (std::size_t k = first; k < first + each; ++k) {
                const double share = power_of(response, p, k);
                off += share * (response.of_periods[p][k] - response.ratio[k]);
                power += share;
                // A period's variance is that of the mean times their number over its share, less what it has in common
                // with the mean.
                variance += share * std::max(0.0, static_cast<double>(periods) - share) * response.variance[k];
            }
            if (power < too_little * static_cast<double>(each) || !(variance > 0)) continue;
            const double size = std::abs(off) / power;
            const double significance = std::norm(off) / variance;
            if (!largest || significance > largest->significance)
                largest = PeriodChange{0.5 * (low + high), size, significance};
        }
    }
    return largest;
}

}  // namespace coldtune::dsp
