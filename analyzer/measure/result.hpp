// The result of one measurement. A rejected one has no place where a resonance could stand.
#pragma once

#include <array>
#include <complex>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/finding.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/model/tank.hpp"
#include "dsp/capture.hpp"

namespace coldtune::measure {

// How a resonance was found; every printed resonance names its way.
enum class Way { in_band, below_band, loading_series };
std::string_view way_name(Way way);

// One contribution to the uncertainty of a result: standard uncertainties (k = 1), 0 where it does not act.
struct BudgetLine {
    std::string source;  // "noise", "clock", ...
    double frequency_u_hz = 0;
    double q_u = 0;
    double resistance_u_ohm = 0;
};

// Another route to the same quantity, for the eye; never averaged in.
struct CrossCheck {
    std::string route;  // "half-power width", "phase slope", "ring-down"
    double q = 0;
};

// A resonance with its 95 % half-widths (k = 2, GUM). SI.
struct Resonance {
    Way way = Way::in_band;
    double frequency_hz = 0;
    double frequency_u95_hz = 0;
    // Empty where the way cannot know them.
    std::optional<double> q, q_u95;
    std::optional<double> resistance_ohm, resistance_u95_ohm;
    std::vector<BudgetLine> budget;
    std::vector<CrossCheck> cross_checks;
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;
    dsp::Band fit_window;
    std::vector<double> other_peaks_hz;
    // How far the curve departs from a single resonance beyond its noise, of its height (rms near the top); in band
    // only.
    double misfit = 0;
    // bench::Hookup pickup only: Q as loaded by the reference resistor, and the corner of the second input.
    std::optional<double> loaded_q = {}, input_corner_hz = {};
};

// Series resistance of a winding at one frequency, freed of its own capacitance.
struct ResistancePoint {
    double frequency_hz = 0, resistance_ohm = 0;
};

// One contribution to a winding's uncertainty, k = 1.
struct WindingBudgetLine {
    std::string source;
    double inductance_u_h = 0, resistance_u_ohm = 0;
};

// Inductance and series resistance of a winding (hookup `winding`).
struct WindingValue {
    double inductance_h = 0, inductance_u95_h = 0;
    double resistance_ohm = 0, resistance_u95_ohm = 0;  // at the low end of the window
    double own_capacitance_f = 0;
    dsp::Band window;  // the part of the band it was read from
    std::vector<ResistancePoint> resistance_curve = {};
    std::vector<WindingBudgetLine> budget = {};
    double own_capacitance_u95_f = 0;
};

// One contribution to a coupling's uncertainty, k = 1.
struct CouplingBudgetLine {
    std::string source;
    double k_u = 0;
};

// Coupling to the primary, from the winding measured with the primary open and shorted.
struct Coupling {
    double k = 0, k_u95 = 0;
    double shorted_inductance_h = 0;
    // What the shorting lead was held against; not described: a usual one was assumed. 0: not known (an older result).
    double primary_inductance_h = 0;
    bool primary_described = false;
    std::vector<CouplingBudgetLine> budget = {};
};

// A tank whose capacitor is known, so that its resonance tells its inductance (leads included); 95 % half-widths.
struct TankValue {
    double inductance_h = 0, inductance_u95_h = 0;
    double capacitance_f = 0, capacitance_u95_f = 0;
    std::optional<double> resistance_ohm = {};  // in series with the inductance, at resonance
};

// One contribution to a pair's uncertainty, k = 1.
struct PairBudgetLine {
    std::string source;
    double primary_frequency_u_hz = 0, secondary_frequency_u_hz = 0;
    double primary_q_u = 0, secondary_q_u = 0;
    double k_u = 0;
};

// Secondary and tank measured together at the foot (hookup `foot`, tank closed). The circuits' own frequencies are the
// undamped ones, each with the other circuit absent; k is that of the oscillating pair (model/coupled_pair.hpp).
struct Pair {
    double primary_frequency_hz = 0, primary_frequency_u95_hz = 0;
    double secondary_frequency_hz = 0, secondary_frequency_u95_hz = 0;
    double primary_q = 0, primary_q_u95 = 0;
    double secondary_q = 0, secondary_q_u95 = 0;
    double k = 0, k_u95 = 0;
    struct Peak {
        double frequency_hz = 0, frequency_u95_hz = 0;
        double conductance_s = 0;  // at the foot
    };
    Peak lower, upper;  // what is seen: the pair's resonances, undamped
    // Of primary frequency, secondary frequency, primary Q, secondary Q, k, in this order.
    std::array<std::array<double, 5>, 5> correlation{};
    std::vector<PairBudgetLine> budget;
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;
    std::array<dsp::Band, 2> fit_windows;
    bool shape_described = false;  // from the coil's description, else from coils of usual proportions
    [[nodiscard]] bool lower_is_stronger() const { return lower.conductance_s > upper.conductance_s; }
};

struct Accepted {
    std::optional<Resonance> resonance = {};  // empty for standards
    std::optional<WindingValue> winding = {};
    std::optional<Coupling> coupling = {};
    std::optional<TankValue> tank = {};
    std::optional<Pair> pair = {};
};
struct Rejected {};

// What is known of how a capture came about: enough to tell whether two results belong to one bench.
struct BenchFacts {
    std::string device, time_utc;                    // as the capture's own note says; empty = unknown
    double reference_ohm = 0;                        // as the analysis was told; 0 = unknown
    std::optional<double> noted_reference_ohm = {};  // as the capture's own note says
};

// The corrected response, for drawing and export.
struct Curve {
    std::vector<double> frequency_hz;
    std::vector<std::complex<double>> impedance_ohm;
    std::vector<double> standard_deviation_ohm;  // of the complex impedance, k = 1
};

struct MeasurementResult {
    bench::Hookup hookup = bench::Hookup::foot;
    std::vector<Finding> findings;
    std::variant<Rejected, Accepted> outcome;
    std::optional<dsp::Band> usable_band_hz;
    std::optional<model::Calculated> calculated;             // of the secondary
    std::optional<model::TankCalculated> calculated_tank;    // in its place for hookup tank
    std::optional<model::CoilDescription> description = {};  // the capture was analysed with
    BenchFacts bench = {};
    Curve curve;
    Curve fitted;  // below-band only: what was fitted (BelowBandFit::fitted)
    // Facts about the capture worth keeping with the result.
    double sample_rate_hz = 0;
    std::size_t averages = 0;
    std::optional<double> clock_drift_ppm;
    std::string reason_for_way;

    [[nodiscard]] Verdict verdict() const { return verdict_of(findings); }
    // The resonance, or null when rejected or not sought.
    [[nodiscard]] const Resonance* resonance() const;
    // Of the secondary, or of the tank for that hookup; empty without a description of it.
    [[nodiscard]] std::optional<double> calculated_hz() const;
    // Secondary and tank together, or null.
    [[nodiscard]] const Pair* pair() const;
    // 100 (measured - calculated) / calculated; empty without both.
    [[nodiscard]] std::optional<double> difference_percent() const;
};

}  // namespace coldtune::measure
