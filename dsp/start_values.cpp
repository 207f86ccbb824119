#include "dsp/start_values.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

struct Point {
    double frequency = 0;
    Complex value;
    double weight = 0;
};

// The bins around the peak, runs of them averaged so that at most about a hundred remain: a start needs no more, and
// averaging (unlike thinning) keeps what a weak peak has to say.
std::vector<Point> points_around(std::span<const ResonanceBin> bins, const FoundPeak& peak, const Band& limits) {
    constexpr std::size_t most_points = 100;
    const std::size_t reach = 3 * peak.span + 4;
    std::size_t first = peak.bin > reach ? peak.bin - reach : 0;
    std::size_t last = std::min(bins.size(), peak.bin + reach + 1);
    while (first < peak.bin && bins[first].frequency_hz < limits.low_hz) ++first;
    while (last > peak.bin + 1 && bins[last - 1].frequency_hz > limits.high_hz) --last;
    const std::size_t run = (last - first + most_points - 1) / most_points;
    std::vector<Point> points;
    for (std::size_t i = first; i < last; i += run) {
        Point point;
        for (std::size_t k = i; k < std::min(i + run, last); ++k) {
            const double w = 1 / (bins[k].immittance_sigma * bins[k].immittance_sigma);
            point.weight += w;
            point.frequency += w * bins[k].frequency_hz;
            point.value += w * bins[k].immittance;
        }
        point.frequency /= point.weight;
        point.value /= point.weight;
        points.push_back(point);
    }
    return points;
}

}  // namespace

std::optional<ResonanceParameters> start_values(std::span<const ResonanceBin> bins, const FoundPeak& peak,
                                                ResonanceForm form, bool series_loss, const Band& limits) {
    const auto points = points_around(bins, peak, limits);
    const double centre = peak.peak.frequency_hz;
    const double width = std::max(peak.width_hz, 1e-9 * centre);
    constexpr std::array<double, 10> width_factors{0.12, 0.2, 0.3, 0.45, 0.65, 0.9, 1.3, 1.9, 2.8, 4.0};
    const bool parallel = form == ResonanceForm::parallel;
    std::optional<ResonanceParameters> best;
    double best_cost = std::numeric_limits<double>::infinity();
    for (int step = -6; step <= 6; ++step) {
        const double f0 = centre + width * step / 8.0;
        if (!(f0 > 0)) continue;
        for (const double factor : width_factors) {
            const double q = f0 / (width * factor);
            Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
            Eigen::Vector3d right = Eigen::Vector3d::Zero();
            double energy = 0;
            for (const auto& point : points) {
                const double u = q * (point.frequency / f0 - f0 / point.frequency);
                Complex line = 1.0 / Complex{1.0, u};
                if (parallel && series_loss) line *= Complex{1.0, -f0 / (point.frequency * q)};
                const Eigen::Vector3d re(line.real(), 0, parallel ? 1.0 : 0.0);
                const Eigen::Vector3d im(line.imag(), point.frequency / f0, 0);
                normal += point.weight * (re * re.transpose() + im * im.transpose());
                right += point.weight * (re * point.value.real() + im * point.value.imag());
                energy += point.weight * std::norm(point.value);
            }
            if (!parallel) normal(2, 2) = 1;
            const Eigen::Vector3d solution = normal.ldlt().solve(right);
            const double cost = energy - solution.dot(right);
            if (!solution.allFinite() || !(solution(0) > 0) || !(cost < best_cost)) continue;
            best_cost = cost;
            ResonanceParameters start;
            start.frequency_hz = f0;
            start.q = q;
            start.height = solution(0);
            start.background = solution(1) / (2 * std::numbers::pi * f0);
            start.offset = parallel ? solution(2) : 0.0;
            best = start;
        }
    }
    return best;
}

void refine_peaks(std::span<const ResonanceBin> bins, std::vector<FoundPeak>& peaks, ResonanceForm form,
                  bool series_loss) {
    // Each peak from its own side of the middle between it and its neighbours.
    const std::vector<FoundPeak> as_found = peaks;
    for (auto& found : peaks) {
        Band limits{bins.front().frequency_hz, bins.back().frequency_hz};
        for (const auto& other : as_found) {
            const double middle = (bins[other.bin].frequency_hz + bins[found.bin].frequency_hz) / 2;
            if (other.bin > found.bin) limits.high_hz = std::min(limits.high_hz, middle);
            if (other.bin < found.bin) limits.low_hz = std::max(limits.low_hz, middle);
        }
        const auto start = start_values(bins, found, form, series_loss, limits);
        if (!start) continue;
        found.peak.frequency_hz = start->frequency_hz;
        found.peak.height = start->height + start->offset;
        found.contrast = start->height;
        found.width_hz = start->frequency_hz / start->q;
    }
    std::sort(peaks.begin(), peaks.end(),
              [](const FoundPeak& a, const FoundPeak& b) { return a.contrast > b.contrast; });
}

}  // namespace coldtune::dsp
