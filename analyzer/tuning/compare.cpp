#include "analyzer/tuning/compare.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/measure/described_json.hpp"
#include "analyzer/model/handbook.hpp"
#include "analyzer/tuning/evidence.hpp"

namespace coldtune::tuning {
namespace {

using measure::KnownResult;
using measure::Weight;

// Between a described top load and what a shift asks for. Common practice, no source: sizes by tape are good to some
// per cent, what stands near adds some ten.
constexpr double kMostTimes = 2;

std::optional<bool> said_to_be_bare(const KnownResult& k) {
    return k.described ? std::optional(k.described->topload.empty()) : std::nullopt;
}

// Both described, each with another top load: what the model of the bare coil says does not apply.
bool between_toploads(const CompareResult& c) {
    return c.bare.described && c.loaded.described && !c.bare.described->topload.empty() &&
           !c.loaded.described->topload.empty() &&
           !measure::same_topload(c.bare.described->topload, c.loaded.described->topload);
}

// Which is the bare one: as the results say, else by frequency.
void put_in_order(CompareResult& c) {
    const auto first = said_to_be_bare(c.bare), second = said_to_be_bare(c.loaded);
    const bool told = first && second && *first != *second;
    const bool swap = told ? *second : c.loaded.resonance->value > c.bare.resonance->value;
    if (swap) std::swap(c.bare, c.loaded);
    if (between_toploads(c)) {
        c.remarks.push_back(
            {"other-top-load", Weight::caution,
             fmt::format("{} was measured with {}, {} with {}: neither is the bare coil, so the shift is from one to "
                         "the other and no capacitance is told",
                         c.bare.name, measure::topload_name(c.bare.described->topload), c.loaded.name,
                         measure::topload_name(c.loaded.described->topload))});
        return;
    }
    if (swap) {
        c.remarks.push_back({"order", Weight::note,
                             fmt::format("{} was given first, but {}; taken as the one with the top load",
                                         c.loaded.name, told ? "was analysed with a top load" : "lies lower")});
    }
    if (first && second && !told) {
        c.remarks.push_back(
            {"other-top-load", Weight::caution,
             fmt::format("{} and {} were both analysed with {}; let each have the description of the coil as it stood "
                         "(below the band the result depends on it)",
                         c.bare.name, c.loaded.name, measure::topload_name(c.bare.described->topload))});
    }
}

void judge_shift(CompareResult& c) {
    const TopLoadShift& s = *c.shift;
    if (s.shift_hz > s.shift_u95_hz) {
        c.remarks.push_back({"order", Weight::reject,
                             fmt::format("{}, said to carry the top load, lies higher than {}; a top load can only "
                                         "lower the resonance: see which capture is which",
                                         c.loaded.name, c.bare.name)});
    } else if (std::abs(s.shift_hz) <= s.shift_u95_hz) {
        c.remarks.push_back({"no-shift", Weight::caution,
                             "the two resonances differ by less than their uncertainty; was the top load connected?"});
    }
}

bool same_winding(const model::Winding& a, const model::Winding& b) {
    return a.diameter_m == b.diameter_m && a.length_m == b.length_m && a.turns == b.turns &&
           a.wire_diameter_m == b.wire_diameter_m && a.base_height_m == b.base_height_m;
}

Status check(const CompareRequest& r) {
    if (r.a.name == r.b.name) return usage_error(fmt::format("{} is given twice; compare two results", r.a.name));
    for (const KnownResult* k : {&r.a, &r.b}) {
        if (!k->resonance) {
            return usage_error(
                fmt::format("{}: not a resonance of the secondary; give results of foot, pickup, a loading series or "
                            "combine",
                            k->name));
        }
    }
    if (r.inductance && !r.inductance->inductance) {
        return usage_error(fmt::format("{}: no inductance in it; give a result of hookup winding or a loading series",
                                       r.inductance->name));
    }
    if (r.instead && !r.coil) {
        return usage_error("what another top load would do needs the description of this one (--coil COIL.json)");
    }
    if (r.instead && !same_winding(r.instead->coil.secondary, r.coil->coil.secondary)) {
        return bad_input(fmt::format("{} describes another secondary than {}; change its top load only",
                                     r.instead->name, r.coil->name));
    }
    return Done{};
}

// Capacitances, once the order is known.
Status weigh(const CompareRequest& r, CompareResult& c) {
    const auto model = TopLoadModel::build(r.coil->coil);
    if (!model) return model.error();
    Pair pair{*c.bare.resonance, *c.loaded.resonance, same_clock(c.bare, c.loaded), std::nullopt};
    if (r.inductance) {
        pair.inductance = r.inductance->inductance;
    } else if (c.bare.inductance || c.loaded.inductance) {
        pair.inductance = c.bare.inductance ? c.bare.inductance : c.loaded.inductance;
    }
    c.inductance_measured = pair.inductance.has_value();
    c.added = model->added(pair);
    if (r.coil->coil.topload.empty()) return Done{};
    if (auto other = topload_contradiction(c.loaded, r.coil->coil.topload, r.coil->name)) {
        other->weight = Weight::caution;
        other->text += "; nothing is calculated for another top load";
        c.remarks.push_back(std::move(*other));
        return Done{};
    }
    c.calculated = model->calculated();
    const double apart_f = c.added->value_f - c.calculated->value_f;
    const double unsure_f = std::hypot(c.added->u95_f, c.calculated->u95_f);
    if (std::abs(apart_f) > 3 * unsure_f && c.added->value_f > kMostTimes * c.calculated->value_f) {
        c.remarks.push_back(
            {"top-load-differs", Weight::reject,
             fmt::format("the shift asks for {:.2g} times the described top load: no dimension explains that; see that "
                         "both are results of this coil, and that the primary was open",
                         c.added->value_f / c.calculated->value_f)});
        c.added.reset();
        c.calculated.reset();
        return Done{};
    }
    if (std::abs(apart_f) > unsure_f) {
        c.remarks.push_back({"top-load-differs", Weight::caution,
                             fmt::format("the top load is {} than calculated by more than both uncertainties; see that "
                                         "it is connected, and check its sizes and what stands near it",
                                         apart_f > 0 ? "larger" : "smaller")});
    }
    c.isolated_f = model::isolated_capacitance_f(r.coil->coil.topload);
    if (!r.instead) return Done{};
    const auto other = TopLoadModel::build(r.instead->coil);
    if (!other) return other.error();
    c.instead = model->instead(pair, *other);
    return Done{};
}

}  // namespace

std::optional<double> CompareResult::difference_percent() const {
    if (!added || !calculated) return std::nullopt;
    return 100 * (added->value_f / calculated->value_f - 1);
}

Result<CompareResult> compare(const CompareRequest& r) {
    if (const Status fine = check(r); !fine) return fine.error();
    CompareResult c;
    c.bare = r.a;
    c.loaded = r.b;
    put_in_order(c);
    const bool same = same_clock(c.bare, c.loaded);
    if (!same && !c.bare.bench.device.empty() && !c.loaded.bench.device.empty()) {
        c.remarks.push_back({"other-clock", Weight::note,
                             fmt::format("measured on '{}' and '{}'; their clocks are taken as independent",
                                         c.bare.bench.device, c.loaded.bench.device)});
    }
    carry_findings(c.bare, c.remarks);
    carry_findings(c.loaded, c.remarks);
    c.shift = shift_of(*c.bare.resonance, *c.loaded.resonance, same);
    judge_shift(c);
    if (c.verdict() == measure::Verdict::rejected) {
        c.shift.reset();
        return c;
    }
    if (r.coil && !between_toploads(c)) {
        if (const Status weighed = weigh(r, c); !weighed) return weighed.error();
    }
    return c;
}

}  // namespace coldtune::tuning
