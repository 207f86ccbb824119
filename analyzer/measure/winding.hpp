// The `winding` hookup: head tied to the return, so the foot shows the winding's inductance and resistance.
//
// Seen from the foot 1/L(f) = w/X falls with f^2 as the winding's own capacitance takes its share, nearly in a straight
// line: 1/L(f) = 1/L0 - w^2 C0 - ... . A polynomial in f^2 over the band below half the tied self-resonance gives L0,
// the low-frequency inductance, and C0, the own capacitance. Re Z, freed of the same factor, gives R(f), a cubic in f;
// the resistance stated is that at the low end of the window.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/result.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

struct WindingFit {
    double inductance_h = 0, inductance_u_h = 0;      // k = 1: noise and the choice of the polynomial
    double resistance_ohm = 0, resistance_u_ohm = 0;  // at the low end of the window: noise and choice of polynomial
    std::vector<ResistancePoint> resistance_curve;    // R(f) across the window
    double own_capacitance_f = 0, own_capacitance_u_f = 0;  // noise and the choice of the polynomial
    dsp::Band window;
};

// Empty where no inductance is seen: fewer than 20 usable bins, or a reactance that is not inductive.
std::optional<WindingFit> fit_winding(const dsp::CorrectedResponse& data);

// With the uncertainty of what was declared instead of measured, each value moved by its standard uncertainty. `data`
// is what correct(coil, standards, bench) gave.
std::optional<WindingValue> find_winding(const dsp::CorrectedResponse& data, const dsp::Response& coil,
                                         const dsp::Standards& standards, const dsp::BenchValues& bench,
                                         const BenchTolerances& tolerances);

// The lead that shorts the primary: 30 cm of wire at 1 uH/m, plus/minus as much as half a metre and what its loop
// catches of the secondary's flux (rectangular); a primary of 6 to 10 turns where none is described. Common practice,
// no source.
inline constexpr double kShortingLead_h = 0.3e-6, kShortingLeadLimit_h = 0.5e-6;
inline constexpr double kUsualPrimary_h = 30e-6;

// k = sqrt((1 - L_shorted / L_open) (1 + lead / L1)) from the same winding with the primary open and shorted; L1 of the
// described primary up to its tap, or the usual one. The primary's resistance R makes the winding look like
// jwL (1 - k^2 jw / (jw + R/L1)): what it adds to the winding's resistance tells R/L1, and its share is taken out. What
// acts on both captures alike cancels: each declared value is moved in both together. A sentence in its place where
// either shows no inductance, the shorted one is not the smaller by more than the uncertainty, or the two are not of
// one winding.
std::variant<Coupling, std::string> find_coupling(const dsp::Response& open_primary,
                                                  const dsp::Response& shorted_primary, const dsp::Standards& standards,
                                                  const dsp::BenchValues& bench, const BenchTolerances& tolerances,
                                                  const std::optional<model::CoilDescription>& description = {});

}  // namespace coldtune::measure
