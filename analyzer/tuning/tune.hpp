// The primary set to the secondary: target, tap, capacitor, verdict.
//
//     target = measured secondary * (1 - allowance)
//
// The allowance stands for what streamers add to the top load once there is power: the secondary then rings lower than
// at signal level, and the tank is set to that (3 %: common practice, no source; every coil differs). All frequencies
// are undamped and of each circuit by itself: the secondary measured with the primary open, the tank with the
// secondary's foot untied or the secondary away. Coupled, the circuits show two peaks and neither is their own. SI
// units throughout.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analyzer/measure/known_result.hpp"
#include "analyzer/model/geometry.hpp"
#include "analyzer/tuning/capacitor_change.hpp"
#include "analyzer/tuning/primary_fit.hpp"
#include "analyzer/tuning/remark.hpp"
#include "analyzer/tuning/sequence.hpp"

namespace coldtune::tuning {

inline constexpr double kDefaultAllowance = 0.03;
// A tank this near to its target, and known to be within twice that, is called tuned (common practice, no source: a
// small part of the width over which a coil works).
inline constexpr double kTunedWindow = 0.01;
// A tap below this is no primary to speak of (common practice, no source).
inline constexpr double kLeastTap = 1;

struct TapResult {
    double turns = 0;
    measure::KnownResult result;  // of hookup tank, or of hookup winding on the primary
};

struct TuneRequest {
    model::CoilDescription coil;
    std::string coil_name;           // how messages call the description
    measure::KnownResult secondary;  // as it will stand
    std::optional<measure::KnownResult> bare;
    std::optional<measure::KnownResult> primary;  // the tank as it stands, at the description's tap
    std::vector<TapResult> taps;                  // further ones; without `primary` the last is how the tank stands
    double allowance = kDefaultAllowance;
};

// Values with 95 % half-widths.
struct Interval {
    double value = 0, u95 = 0;
};

struct TapAdvice {
    Interval turns;
    int mark = 0;            // the nearest whole number of turns from the inner end ...
    double past_mark_m = 0;  // ... and from that mark along the conductor; negative: before it
    double along_u95_m = 0;
    double conductor_m = 0;             // from the inner end
    double move_turns = 0, move_m = 0;  // from where the tap is; negative: in, toward the inner end
};

struct OutOfReach {
    bool too_low = false;                // the target lies below what the whole primary gives
    double by_relative = 0;              // from the nearest frequency in reach, > 0
    double capacitance_f = 0;            // that would do it at that end of the primary, in all
    std::optional<double> turns_needed;  // too low: a primary of so many turns would do it
};

struct Tap {
    std::string name;
    double turns = 0;
    bool inductance = false;  // taken by its inductance (henry), else by the tank's resonance (hertz)
    Interval measured;
    double residual = 0;  // relative, measured less fitted
};

// undecided: nearer than the uncertainty, which is too large to call it tuned
enum class Outcome { tuned, undecided, move_tap, change_capacitor, rejected };
std::string_view outcome_name(Outcome outcome);

// Everything that the measurements say once they belong together.
struct Tuning {
    Interval secondary_hz, target_hz;
    std::vector<Tap> taps;  // the one the tank stands at last
    Interval tank_hz;       // as it stands
    double tank_turns = 0;
    Interval mismatch;                     // relative, tank less target
    double tuned_within = 0;               // relative: |mismatch| and its half-width together
    double lowest_hz = 0, highest_hz = 0;  // in reach of the tap
    double lowest_u95_hz = 0, highest_u95_hz = 0;
    double scale = 1;  // tank inductance over the calculated one, at the tank's tap
    Interval leads_h;
    std::optional<TapAdvice> advice;
    std::optional<OutOfReach> out_of_reach;  // exactly one of the two
    CapacitorChange capacitor;               // instead of the tap
    double capacitor_u95_relative = 0;       // of what is needed in all
};

struct TuneResult {
    std::vector<Remark> remarks;
    std::optional<Tuning> tuning;  // empty when rejected
    std::vector<Step> steps;
    double allowance = kDefaultAllowance;
    [[nodiscard]] Outcome outcome() const;
};

// Contradictory inputs are remarks, and those that would make the tap a wrong one reject the whole. Errors: (usage) no
// measured tap, a result of the wrong kind in its place, one given twice, an allowance outside 0 to 20 %; (bad_input)
// no primary or tank described, a description that cannot be built.
Result<TuneResult> tune(const TuneRequest& request);

}  // namespace coldtune::tuning
