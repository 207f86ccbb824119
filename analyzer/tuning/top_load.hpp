// What a top load did to a coil that was measured without and with it, and what another one would do.
//
// Reported is the EQUIVALENT HEAD CAPACITANCE: the one capacitor from the head to the return that takes the coil from
// its measured bare resonance to its measured loaded one. It is smaller than the capacitance of the top load alone in
// space, because winding and top load shield one another; so it is set against the equivalent calculated the same way
// (the described coil with its top load against the described coil, bare, with a capacitor), and the isolated value
// stands beside it only for reference.
//
//     f(C) = 1 / (2 pi sqrt(L (own(C) + C)))      measure::LoadingCurve; own(C)/own(0) from the distributed model
//
// The ratio of the two measured frequencies gives C/own(0) without L. own(0) = 1/((2 pi f_bare)^2 L) needs an
// inductance: measured (winding hookup or loading series; about as good as that) or as described, shared with the
// described capacitance by their priors (several per cent, and said so). Without a description there is none of this.
// SI units throughout.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/known_result.hpp"
#include "analyzer/measure/loading_curve.hpp"
#include "analyzer/model/geometry.hpp"

namespace coldtune::tuning {

// Loaded minus bare, hertz, and relative to bare; 95 % half-widths. A clock common to both cancels from the ratio.
struct TopLoadShift {
    double shift_hz = 0, shift_u95_hz = 0;
    double relative = 0, relative_u95 = 0;
};
TopLoadShift shift_of(const measure::KnownValue& bare, const measure::KnownValue& loaded, bool same_clock);

struct Capacitance {
    struct Line {
        std::string source;
        double u_f = 0;  // standard
    };
    double value_f = 0, u95_f = 0;
    std::vector<Line> budget;
};

struct Pair {
    measure::KnownValue bare, loaded;  // resonances, hertz
    bool same_clock = false;
    std::optional<measure::KnownValue> inductance;  // of the winding at low frequency, henry
};

struct Predicted {
    double frequency_hz = 0, frequency_u95_hz = 0;
    double capacitance_ratio = 0;  // of the other top load to the measured one, both calculated in place
};

class TopLoadModel {
public:
    // The described coil with its top load, which may be none. Errors: the description cannot be built.
    static Result<TopLoadModel> build(const model::CoilDescription& coil);

    // From what was measured. May be negative within its uncertainty.
    [[nodiscard]] Capacitance added(const Pair& pair) const;

    // The described top load in place: 0 for none. Limits as of measure::ShapeFamily.
    [[nodiscard]] const Capacitance& calculated() const { return calculated_; }

    // Resonance with another top load (`other`: the same coil described with it): bare and loaded as measured, and only
    // the ratio of the two top loads calculated. Needs a described top load; nullopt without one.
    [[nodiscard]] std::optional<Predicted> instead(const Pair& pair, const TopLoadModel& other) const;

private:
    explicit TopLoadModel(measure::LoadingCurve curve) : curve_(std::move(curve)) {}
    // C/own(0) at a ratio (f_bare/f_loaded)^2, shape moved by one standard uncertainty in direction `moved` (-1: none).
    [[nodiscard]] double share_at(double ratio_squared, int moved) const;
    [[nodiscard]] double ratio_squared_at(double share, int moved) const;

    measure::LoadingCurve curve_;  // of the bare coil
    double inductance_prior_ = 0, capacitance_prior_ = 0;
    Capacitance calculated_;
    std::vector<bool> of_topload_;  // per line of calculated_.budget: a size of the top load, nothing else shares it
    std::vector<double> signed_f_;  // per line: the change itself
};

}  // namespace coldtune::tuning
