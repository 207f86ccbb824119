// Whether the points of a loading series belong together, and which one does not.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "analyzer/measure/loading_series.hpp"

namespace coldtune::measure {
namespace {

constexpr double kCautionChance = 0.05;
constexpr double kRejectChance = 0.01;
constexpr double kRejectChanceOfTwo = 0.001;
// No secondary is described that wrongly: turns would have to be off by four tenths. A slipped prefix makes ten.
constexpr double kWrongInductance = 2;

using SeriesFitter = std::function<std::optional<SeriesEstimate>(const SeriesInput&)>;

SeriesInput without(const SeriesInput& all, std::size_t left_out) {
    SeriesInput rest = all;
    const auto at = static_cast<std::ptrdiff_t>(left_out);
    rest.points.erase(rest.points.begin() + at);
    rest.names.erase(rest.names.begin() + at);
    for (SharedEffect& e : rest.effects) {
        e.frequency_relative.erase(e.frequency_relative.begin() + at);
        e.capacitance_f.erase(e.capacitance_f.begin() + at);
    }
    return rest;
}

struct Suspect {
    std::size_t point = 0;
    double chance = 0;  // of the others without it
};

// The points in the order in which leaving them out mends the series; empty where the rest cannot be judged.
std::vector<Suspect> suspects(const SeriesInput& input, const SeriesFitter& fit) {
    std::vector<Suspect> list;
    for (std::size_t i = 0; i < input.points.size(); ++i) {
        const auto rest = fit(without(input, i));
        if (rest && rest->degrees_of_freedom == 0) return {};
        // Others that do not even form a series are no more likely together.
        list.push_back({i, rest ? rest->chance() : 0});
    }
    std::sort(list.begin(), list.end(), [](const Suspect& a, const Suspect& b) { return a.chance > b.chance; });
    return list;
}

std::string in_words(double chance) {
    return chance < 1e-6 ? "chance under one in a million" : fmt::format("chance {:.1g}", chance);
}

Finding contradiction(const SeriesInput& input, const std::string& what, const std::vector<Suspect>& list) {
    std::string who;
    if (list.empty()) {
        who = "one more capacitor would tell which";
    } else {
        const std::string& first = input.names[list[0].point];
        if (list[0].chance < kCautionChance) {
            who = fmt::format("the odd one is {}, but the others disagree without it too", first);
        } else if (list.size() > 1 && list[1].chance >= kCautionChance) {
            who = fmt::format("the odd one is {}, or else {}", first, input.names[list[1].point]);
        } else {
            who = fmt::format("the odd one is {}", first);
        }
    }
    return {
        FindingCode::nonlinear, Weight::reject,
        fmt::format("{}: {}; check the value printed on the capacitor, its lead from head to return and that nothing "
                    "was moved between the captures, and measure it again",
                    what, who)};
}

// Capacitors of one reel or one maker are alike: what they are off by may be common to all of them. With the full
// tolerance, beside what each has for itself (common practice, no source). A common scale moves the inductance against
// the capacitances and leaves the resonance.
void add_likeness(SeriesInput& input) {
    const std::size_t n = input.points.size();
    SharedEffect alike{"capacitors alike", std::vector<double>(n, 0), std::vector<double>(n, 0)};
    for (std::size_t i = 0; i < n; ++i) alike.capacitance_f[i] = input.points[i].limit_f / std::numbers::sqrt3;
    input.effects.push_back(std::move(alike));
}

void add_leads(SeriesInput& input) {
    const std::size_t n = input.points.size();
    SharedEffect leads{"capacitor leads", std::vector<double>(n, 0), std::vector<double>(n, 0)};
    SharedEffect inductance{"capacitor lead inductance", std::vector<double>(n, 0), std::vector<double>(n, 0)};
    for (std::size_t i = 0; i < n; ++i) {
        const SeriesPoint& p = input.points[i];
        if (p.capacitance_f <= 0) continue;
        leads.capacitance_f[i] = input.lead_limit_f / std::numbers::sqrt3;
        // C behind an inductance l looks like C (1 + w^2 l C) while that is little more than C.
        const double omega = 2 * std::numbers::pi * p.frequency_hz;
        inductance.capacitance_f[i] =
            omega * omega * kTankLeadLimit_h * p.capacitance_f * p.capacitance_f / std::numbers::sqrt3;
    }
    if (input.lead_limit_f > 0) input.effects.push_back(std::move(leads));
    if (input.hookup == bench::Hookup::tank) input.effects.push_back(std::move(inductance));
}

std::string listed(const std::vector<std::string>& names) {
    std::string text;
    for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
    return text;
}

// A common error of all capacitors scales the inductance and leaves the points in one line: only the description can
// tell it. `found` is what the points say without it. Twice the described interval is let pass: a tape measure's per
// cent is not always kept (common practice, no source).
std::optional<Finding> judge_inductance(const SeriesEstimate& found, const LoadingCurve& curve,
                                        const SeriesPrior& prior) {
    const double described = curve.inductance_h();
    const double apart = found.inductance_h - described;
    constexpr double kLet = 2;
    const double described_u95 = 2 * prior.stated_inductance * described;
    if (!(described_u95 > 0)) return std::nullopt;
    if (std::abs(apart) <= std::hypot(found.inductance_u95_h, kLet * described_u95)) return std::nullopt;
    return Finding{FindingCode::nonlinear, Weight::caution,
                   fmt::format("the inductance lies {:.0f} % {} the described one, beyond both intervals: check the "
                               "capacitors as they were given (all off alike move the inductance and nothing else), "
                               "and the turns and dimensions in the description",
                               100 * std::abs(apart) / described, apart < 0 ? "below" : "above")};
}

SeriesJudgement refused(Finding finding) {
    SeriesJudgement out;
    out.findings.push_back(std::move(finding));
    return out;
}

}  // namespace

SeriesJudgement judge_series(const SeriesInput& given, const LoadingCurve* curve, const SeriesPrior& prior) {
    SeriesInput input = given;
    add_likeness(input);
    add_leads(input);
    const SeriesFitter straight = [](const SeriesInput& in) { return fit_straight_line(in.points, in.effects); };
    const SeriesFitter free = [&](const SeriesInput& in) {
        return curve ? fit_series(in.points, in.effects, *curve, std::nullopt)
                     : fit_straight_line(in.points, in.effects);
    };
    const SeriesFitter described = [&](const SeriesInput& in) {
        return fit_series(in.points, in.effects, *curve, prior);
    };
    const std::size_t n = input.points.size();

    SeriesJudgement out;
    out.straight_line = straight(input);
    if (!out.straight_line) {
        return refused(contradiction(input, "the resonance does not fall as capacitance is added",
                                     n > 2 ? suspects(input, curve ? described : free) : std::vector<Suspect>{}));
    }
    const auto alone = free(input);
    const double chance = alone ? alone->chance() : 0;
    if (curve != nullptr) {
        // Capacitors a thousand times too large leave no capacitance of the coil's own for the distributed curve.
        const SeriesEstimate& seen = alone ? *alone : *out.straight_line;
        const double ratio = seen.inductance_h / curve->inductance_h();
        if (std::abs(std::log(ratio)) > std::log(kWrongInductance) + 2 * prior.inductance) {
            return refused({FindingCode::nonlinear, Weight::reject,
                            fmt::format("the series gives {:.2g} times the described inductance: check the capacitors "
                                        "as they were given first (a prefix? {}), then turns and dimensions in the "
                                        "description",
                                        ratio, listed(input.names))});
        }
    }
    if (n > 2 && chance < kRejectChance) {
        // Among three the two others always agree; what was described can still judge them.
        const bool few = n == 3 && curve != nullptr;
        return refused(contradiction(input, fmt::format("the points contradict each other ({})", in_words(chance)),
                                     suspects(input, few ? described : free)));
    }
    if (n > 2 && chance < kCautionChance) {
        const auto list = suspects(input, n == 3 && curve ? described : free);
        out.findings.push_back({FindingCode::nonlinear, Weight::caution,
                                fmt::format("the points agree poorly ({}){}; measure again", in_words(chance),
                                            list.empty() ? "" : ", worst " + input.names[list[0].point])});
    }
    if (curve != nullptr) {
        out.model = described(input);
        // What holding to the described inductance and capacitance adds to the misfit is a chi square of two.
        double fits = 0;
        if (out.model && alone) {
            SeriesEstimate added = *out.model;
            added.chi_square -= alone->chi_square;
            added.degrees_of_freedom = 2;
            fits = added.chance();
        }
        if (n == 2 && fits < kRejectChanceOfTwo) {
            return refused(contradiction(
                input, fmt::format("the two points do not fit the described coil ({})", in_words(fits)), {}));
        }
        if (fits < kRejectChance) {
            const bool able = n > 2 && alone && alone->frequency_hz;
            if (able) out.model = alone;
            out.findings.push_back(
                {FindingCode::nonlinear, Weight::caution,
                 fmt::format("the series does not fit the described coil ({}){}; check the capacitors as they were "
                             "given, and the turns, the dimensions and the top load in its description",
                             in_words(fits), able ? ": its inductance and capacitance were not used" : "")});
        } else if (auto apart = judge_inductance(alone ? *alone : *out.straight_line, *curve, prior)) {
            out.findings.push_back(std::move(*apart));
        }
    }
    if (n == 2 && curve == nullptr) {
        out.findings.push_back(
            {FindingCode::uncorrected, Weight::caution,
             "two points always lie on a line: a wrong capacitor would not be noticed; measure with a "
             "third capacitor, or give the coil's description where there is one"});
    }
    // Not the straight line in the model's place: it is bent for a coil.
    const bool modelled = curve == nullptr || out.model;
    if (modelled && out.value().frequency_hz) return out;
    return refused(
        {FindingCode::outside_band, Weight::reject,
         "the capacitors are too large or too close to each other for the capacitance that is there without "
         "them to show; use smaller ones, or such with a closer tolerance, that still bring the resonance into "
         "the band"});
}

}  // namespace coldtune::measure
