// Whether a curve held still from period to period: by how much each period's own ratio lies shifted along frequency
// against the mean of all.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/response.hpp"

namespace coldtune::dsp {

struct PeriodShift {
    std::vector<double> relative;    // per period; +1e-6 = everything in it happens 1 ppm higher
    std::vector<double> u_relative;  // standard uncertainty of each from the capture's noise
    // Sum of squares over u^2 and degrees of freedom; their chance is that of a chi square for noise alone.
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;

    // Standard deviation of the periods.
    [[nodiscard]] double scatter() const;
    // 95 % half-width of their mean from their own scatter (Student's t; GUM 4.2 and G.3).
    [[nodiscard]] double mean_u95() const;
    // Noise alone comes this far once in 1e6 captures.
    [[nodiscard]] bool unsteady() const;
};

// First order in the shift: the mean's own derivative along frequency is what each period's difference is projected on,
// weighted with the noise and with what the period holds of the excitation; one that holds next to none of it in the
// window is left out. nullopt without the periods' own ratios (keep_periods), with fewer than two periods, or where the
// window holds fewer than eight bins or no slope.
std::optional<PeriodShift> period_shift(const Response& response, const Band& window);

// Where one period's ratio departs most from the mean of all, outside a window (a resonance, where the least shift is a
// large change).
struct PeriodChange {
    double frequency_hz = 0;
    double size = 0;          // |ratio - mean|
    double significance = 0;  // size^2 over its expectation from noise, which passes 20 in fewer than 1 of 1e5 captures
};
// nullopt without the periods' own ratios or with too few bins outside.
std::optional<PeriodChange> period_change(const Response& response, const Band& outside);

}  // namespace coldtune::dsp
