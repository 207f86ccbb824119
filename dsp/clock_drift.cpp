#include "dsp/clock_drift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "dsp/fft.hpp"
#include "dsp/two_pi.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

// exp(2 pi j k delay / N) for k = first_bin, first_bin + 1, ...: a recurrence, renewed before its error grows past
// 1e-14.
class Phasors {
public:
    Phasors(std::size_t first_bin, double delay_frames, std::size_t period_frames)
        : bin_(first_bin),
          step_angle_(two_pi * delay_frames / static_cast<double>(period_frames)),
          step_(std::polar(1.0, step_angle_)) {}
    Complex next() {
        if (left_ == 0) {
            now_ = std::polar(1.0, std::remainder(step_angle_ * static_cast<double>(bin_), two_pi));
            left_ = 64;
        }
        const Complex result = now_;
        now_ = {now_.real() * step_.real() - now_.imag() * step_.imag(),
                now_.real() * step_.imag() + now_.imag() * step_.real()};
        --left_;
        ++bin_;
        return result;
    }

private:
    std::size_t bin_;
    double step_angle_;
    Complex step_;
    Complex now_;
    int left_ = 0;
};

// DriftSums of X_k = B_k conj(A_k) exp(j theta_k delay), theta_k = 2 pi k / N.
struct DriftSums {
    double energy_a = 0, energy_b = 0, real = 0, slope = 0, curvature = 0;
    [[nodiscard]] double correlation() const {
        const double energy = std::sqrt(energy_a * energy_b);
        return energy > 0 ? real / energy : 0.0;
    }
};

DriftSums sums_at(const PeriodSpectra& spectra, std::size_t first, std::size_t second, double delay) {
    const auto a = spectra.row(first);
    const auto b = spectra.row(second);
    const double theta_step = two_pi / static_cast<double>(spectra.period_frames);
    Phasors phasors(spectra.first_bin, delay, spectra.period_frames);
    // Lanes, so that vector instructions may be used: each sum is added up in four parts.
    constexpr std::size_t lanes = 4;
    std::array<double, lanes> energy_a{}, energy_b{}, real{}, slope{}, curvature{};
    const auto add = [&](std::size_t lane, std::size_t i, double re, double im) {
        const double theta = theta_step * static_cast<double>(spectra.first_bin + i);
        energy_a[lane] += std::norm(a[i]);
        energy_b[lane] += std::norm(b[i]);
        real[lane] += re;
        slope[lane] += theta * im;
        curvature[lane] += theta * theta * re;
    };
    const auto product = [&](std::size_t i) {
        return Complex(b[i].real() * a[i].real() + b[i].imag() * a[i].imag(),
                       b[i].imag() * a[i].real() - b[i].real() * a[i].imag());
    };
    if (delay != 0.0) {
        for (std::size_t i = 0; i < a.size(); ++i) {
            const Complex x = product(i), turn = phasors.next();
            add(i % lanes, i, x.real() * turn.real() - x.imag() * turn.imag(),
                x.real() * turn.imag() + x.imag() * turn.real());
        }
    } else {
        std::size_t i = 0;
        for (; i + lanes <= a.size(); i += lanes)
            for (std::size_t lane = 0; lane < lanes; ++lane) {
                const Complex x = product(i + lane);
                add(lane, i + lane, x.real(), x.imag());
            }
        for (; i < a.size(); ++i) {
            const Complex x = product(i);
            add(0, i, x.real(), x.imag());
        }
    }
    const auto sum = [](const std::array<double, lanes>& part) { return part[0] + part[1] + part[2] + part[3]; };
    return {sum(energy_a), sum(energy_b), sum(real), sum(slope), sum(curvature)};
}

// Highest of the circular cross-correlation. A narrow band has many peaks of almost the same height, a carrier period
// apart; of those within 0.1 % of the highest the one nearest to zero is taken, because clocks are nearly right.
double search(const PeriodSpectra& spectra, std::size_t first, std::size_t second) {
    RealFft fft(spectra.period_frames);
    auto bins = fft.spectrum();
    std::fill(bins.begin(), bins.end(), Complex{});
    const auto a = spectra.row(first);
    const auto b = spectra.row(second);
    for (std::size_t i = 0; i < a.size(); ++i) bins[spectra.first_bin + i] = b[i] * std::conj(a[i]);
    fft.inverse();
    const auto correlation = fft.time();
    const std::size_t n = correlation.size();
    const double highest = *std::max_element(correlation.begin(), correlation.end());
    const auto at = [&](std::size_t i) { return correlation[i % n]; };
    for (std::size_t distance = 0; distance <= n / 2; ++distance) {
        for (const std::size_t i : {distance, (n - distance) % n}) {
            const double left = at(i + n - 1), middle = at(i), right = at(i + 1);
            if (middle < left || middle < right) continue;
            // A peak between two samples stands higher than both: its parabola decides.
            const double bend = left - 2 * middle + right;
            const double offset = bend < 0 ? 0.5 * (left - right) / bend : 0.0;
            if (middle - 0.25 * (left - right) * offset < 0.999 * highest) continue;
            const double whole = i <= n / 2 ? static_cast<double>(i) : static_cast<double>(i) - static_cast<double>(n);
            return whole + offset;
        }
    }
    return 0.0;
}

}  // namespace

PairDelay delay_between(const PeriodSpectra& spectra, std::size_t first, std::size_t second, double expected_frames) {
    // A hundredth of a frame is inside the reach of the first step, which then needs no turning of every line.
    double delay = std::abs(expected_frames) < 0.01 ? 0.0 : expected_frames;
    DriftSums sums = sums_at(spectra, first, second, delay);
    if (sums.correlation() < 0.7) {
        const double found = search(spectra, first, second);
        const DriftSums there = sums_at(spectra, first, second, found);
        if (there.correlation() > sums.correlation()) {
            delay = found;
            sums = there;
        }
    }
    // Newton's steps to the top of the correlation; the error of a step is of third order, so a step under 1e-4 frames
    // leaves less than 1e-11.
    for (int step = 0; step < 12 && sums.curvature > 0; ++step) {
        const double move = -sums.slope / sums.curvature;
        if (std::abs(move) < 1e-4) {
            delay += move;
            sums.real += 0.5 * sums.slope * sums.slope / sums.curvature;
            break;
        }
        delay += std::clamp(move, -1.0, 1.0);
        sums = sums_at(spectra, first, second, delay);
    }
    PairDelay result;
    result.frames = delay;
    result.correlation = sums.correlation();
    const double both = sums.energy_a + sums.energy_b;
    const double rest = std::max(0.0, both - 2.0 * sums.real);
    result.difference = both > 0 ? rest / both : 1.0;
    // Im X_k has variance |A|^2 sigma^2 / 2 with sigma^2 the complex noise of both windows in one bin.
    if (sums.curvature > 0)
        result.u_frames = std::sqrt(rest / static_cast<double>(spectra.width) / 2.0 / sums.curvature);
    return result;
}

DriftEstimate drift_from(std::span<const PairDelay> neighbours, std::size_t period_frames) {
    const std::size_t periods = neighbours.size() + 1;
    DriftEstimate estimate;
    estimate.delay_frames.assign(periods, 0.0);
    double u2 = 0;
    for (std::size_t p = 1; p < periods; ++p) {
        estimate.delay_frames[p] = estimate.delay_frames[p - 1] + neighbours[p - 1].frames;
        u2 += neighbours[p - 1].u_frames * neighbours[p - 1].u_frames;
    }
    // Half of a pair's variance belongs to each of its windows; summed delays share windows, so their errors telescope
    // and the delay of each period carries one window's error only.
    const double u_one = std::sqrt(u2 / static_cast<double>(neighbours.size()) / 2.0);
    const double middle = static_cast<double>(periods - 1) / 2.0;
    double sxx = 0, sxy = 0, mean = 0;
    for (std::size_t p = 0; p < periods; ++p) {
        const double x = static_cast<double>(p) - middle;
        sxx += x * x;
        sxy += x * estimate.delay_frames[p];
        mean += estimate.delay_frames[p] / static_cast<double>(periods);
    }
    const double slope = sxy / sxx;
    double scatter = 0;
    for (std::size_t p = 0; p < periods; ++p) {
        const double off = estimate.delay_frames[p] - mean - slope * (static_cast<double>(p) - middle);
        scatter += off * off;
    }
    const double u_seen = periods > 2 ? std::sqrt(scatter / static_cast<double>(periods - 2)) : u_one;
    estimate.ppm = slope / static_cast<double>(period_frames) * 1e6;
    estimate.u_delay_frames = std::max(u_one, u_seen);
    estimate.u_ppm = estimate.u_delay_frames / std::sqrt(sxx) / static_cast<double>(period_frames) * 1e6;
    const bool straight = u_seen <= 5.0 * u_one;
    for (std::size_t p = 0; straight && p < periods; ++p) estimate.delay_frames[p] = slope * static_cast<double>(p);
    return estimate;
}

void align(PeriodSpectra& spectra, std::span<const double> delay_frames) {
    for (std::size_t p = 0; p < spectra.periods(); ++p) {
        // Turns under 1e-6 frames stay 110 dB under the line they would move.
        if (std::abs(delay_frames[p]) < 1e-6) continue;
        Phasors phasors(spectra.first_bin, delay_frames[p], spectra.period_frames);
        for (Complex& value : spectra.row(p)) {
            const Complex turn = phasors.next();
            value = {value.real() * turn.real() - value.imag() * turn.imag(),
                     value.real() * turn.imag() + value.imag() * turn.real()};
        }
    }
}

}  // namespace coldtune::dsp
