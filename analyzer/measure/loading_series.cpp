#include "analyzer/measure/loading_series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "analyzer/measure/description_check.hpp"
#include "analyzer/measure/shape_family.hpp"
#include "analyzer/measure/tank_value.hpp"
#include "analyzer/model/calculated.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

constexpr double kLargestCapacitance_f = 1e-3;
constexpr std::size_t kMostPoints = 50;

std::string name_of(double capacitance_f) {
    return capacitance_f > 0 ? record::format_quantity(capacitance_f, record::Unit::farad, 3) : "no capacitor";
}

Status check(const LoadingRequest& request) {
    if (request.bench.hookup != bench::Hookup::foot && request.bench.hookup != bench::Hookup::tank) {
        return usage_error(
            fmt::format("hookup {} has no loading series; use foot (capacitors from head to return) or tank "
                        "(capacitors across the tank's)",
                        bench::describe(request.bench.hookup).name));
    }
    if (request.bench.hookup == bench::Hookup::foot && !request.bench.description) {
        return usage_error("the loading series of a secondary needs the description of the coil (--coil COIL.json)");
    }
    if (request.points.size() < 2 || request.points.size() > kMostPoints) {
        return usage_error(
            fmt::format("{} point{} given; a loading series needs 2 to {} captures with different capacitors",
                        request.points.size(), request.points.size() == 1 ? "" : "s", kMostPoints));
    }
    if (!(request.lead_limit_f >= 0 && request.lead_limit_f <= 1e-9)) {
        return usage_error("what the capacitor's leads may add must lie between 0 and 1 nF");
    }
    std::set<double> seen;
    for (const LoadingPoint& p : request.points) {
        if (!(p.capacitance_f >= 0 && p.capacitance_f <= kLargestCapacitance_f)) {
            return usage_error(fmt::format("{}: the capacitor must lie between 0 (none connected) and 1 mF", p.file));
        }
        if (!(p.limit_f >= 0 && p.limit_f <= 0.5 * p.capacitance_f)) {
            return usage_error(fmt::format("{}: the tolerance must lie between 0 and half of the capacitor", p.file));
        }
        if (!seen.insert(p.capacitance_f).second) {
            return usage_error(fmt::format("{}: {} was already given for another capture; give each capacitor once",
                                           p.file, name_of(p.capacitance_f)));
        }
    }
    return Done{};
}

// Cautions and notes of the points, each kind once, with the points it concerns.
class Gathered {
public:
    void add(const std::string& point, const Finding& finding) {
        for (Entry& e : entries_) {
            if (e.finding.code != finding.code || e.finding.weight != finding.weight) continue;
            e.points.push_back(point);
            return;
        }
        entries_.push_back({finding, {point}});
    }
    void into(std::vector<Finding>& findings, std::size_t all) const {
        for (const Entry& e : entries_) {
            std::string who;
            for (const std::string& p : e.points) who += (who.empty() ? "" : ", ") + p;
            Finding f = e.finding;
            if (e.points.size() < all) f.text = fmt::format("with {}: {}", who, f.text);
            findings.push_back(std::move(f));
        }
    }

private:
    struct Entry {
        Finding finding;
        std::vector<std::string> points;
    };
    std::vector<Entry> entries_;
};

// Why one capture spoils the series.
Finding spoiled(const std::string& point, const LoadingPoint& p, const Finding& why) {
    std::string text = fmt::format("with {} ({}): {}", point, p.file, why.text);
    if (why.code == FindingCode::outside_band) {
        text = fmt::format(
            "with {} ({}) the resonance does not lie inside the usable band; use a larger capacitor if it lies above, "
            "a "
            "smaller one if below",
            point, p.file);
    }
    return {why.code, Weight::reject, std::move(text)};
}

// The bench's part of each point's uncertainty, gathered by what it comes from: the same lead, standards and clock
// served every capture, and each moves all the resonances the same way.
std::vector<SharedEffect> shared_effects(const std::vector<LoadingPointResult>& points) {
    std::vector<SharedEffect> effects;
    for (std::size_t i = 0; i < points.size(); ++i) {
        for (const BudgetLine& line : points[i].resonance->budget) {
            if (line.source == "noise") continue;
            auto at =
                std::find_if(effects.begin(), effects.end(), [&](const auto& e) { return e.source == line.source; });
            if (at == effects.end()) {
                effects.push_back(
                    {line.source, std::vector<double>(points.size(), 0), std::vector<double>(points.size(), 0)});
                at = effects.end() - 1;
            }
            at->frequency_relative[i] = line.frequency_u_hz / points[i].resonance->frequency_hz;
        }
    }
    return effects;
}

double noise_of(const Resonance& resonance) {
    for (const BudgetLine& line : resonance.budget) {
        if (line.source == "noise") return line.frequency_u_hz;
    }
    return 0;
}

Resonance resonance_of(const SeriesEstimate& estimate, const std::vector<LoadingPointResult>& points) {
    Resonance r;
    r.way = Way::loading_series;
    r.frequency_hz = *estimate.frequency_hz;
    r.frequency_u95_hz = *estimate.frequency_u95_hz;
    for (const SeriesLine& line : estimate.budget) r.budget.push_back({line.source, line.frequency_u_hz, 0, 0});
    r.chi_square = estimate.chi_square;
    r.degrees_of_freedom = estimate.degrees_of_freedom;
    r.fit_window = {points.front().resonance->frequency_hz, points.front().resonance->frequency_hz};
    for (const LoadingPointResult& p : points) {
        r.fit_window.low_hz = std::min(r.fit_window.low_hz, p.resonance->frequency_hz);
        r.fit_window.high_hz = std::max(r.fit_window.high_hz, p.resonance->frequency_hz);
    }
    return r;
}

// Frequency alone does not tell a slip of a prefix in the capacitors: it scales the inductance and leaves the
// resonance.
std::optional<Finding> judge_tank(const Accepted& found, const std::optional<model::TankCalculated>& calculated) {
    constexpr double kLargest = 0.5;  // of the inductance; a tap off by a turn of ten makes a fifth
    constexpr double kSlip = 5;       // a tap left at twelve turns for five in the description; a prefix makes ten
    if (!found.tank || !calculated || !(calculated->inductance_h > 0)) return std::nullopt;
    const double ratio = found.tank->inductance_h / calculated->inductance_h;
    if (std::abs(std::log(ratio)) < std::log1p(kLargest)) return std::nullopt;
    return Finding{
        FindingCode::nonlinear, std::abs(std::log(ratio)) > std::log(kSlip) ? Weight::reject : Weight::caution,
        fmt::format("the inductance is {:.3g} times the calculated one: check the capacitors as they were given "
                    "(a prefix?), the tap and the reference resistor",
                    ratio)};
}

}  // namespace

Result<LoadingResult> analyze_loading(LoadingRequest request) {
    if (const Status fine = check(request); !fine) return fine.error();
    std::sort(request.points.begin(), request.points.end(),
              [](const LoadingPoint& a, const LoadingPoint& b) { return a.capacitance_f < b.capacitance_f; });
    const bool tank = request.bench.hookup == bench::Hookup::tank;

    LoadingResult out;
    out.result.hookup = request.bench.hookup;
    out.result.outcome = Rejected{};
    std::optional<ShapeFamily> family;
    out.result.description = request.bench.description;
    if (tank && request.bench.description) {
        if (const Status possible = model::check_geometry(*request.bench.description); !possible) {
            return possible.error();
        }
        out.result.calculated_tank = model::calculate_tank(*request.bench.description);
    }
    if (!tank) {
        auto calculated = model::calculate(*request.bench.description);
        if (!calculated) return calculated.error();
        out.result.calculated = std::move(*calculated);
        auto built = ShapeFamily::build(*request.bench.description);
        if (!built) return built.error();
        family = std::move(*built);
    }
    // Each point is an in-band measurement of its own, and nothing else will do: below-band rests on the description.
    request.bench.description.reset();

    SeriesInput input;
    input.hookup = request.bench.hookup;
    input.lead_limit_f = request.lead_limit_f;
    Gathered gathered;
    for (LoadingPoint& p : request.points) {
        request.bench.coil = std::move(p.capture);
        auto measured = analyze(request.bench);
        if (!measured) {
            return Error{measured.error().kind, fmt::format("{}: {}", p.file, measured.error().message)};
        }
        const std::string name = name_of(p.capacitance_f);
        out.points.push_back({p.capacitance_f, p.limit_f, p.file, std::nullopt});
        out.result.sample_rate_hz = measured->sample_rate_hz;
        out.result.bench = measured->bench;
        out.result.averages = measured->averages;
        out.result.clock_drift_ppm = measured->clock_drift_ppm;
        if (!out.result.usable_band_hz) out.result.usable_band_hz = measured->usable_band_hz;
        bool named = false;
        for (const Finding& f : measured->findings) {
            if (f.weight != Weight::reject) {
                gathered.add(name, f);
            } else if (!named) {
                out.result.findings.push_back(spoiled(name, p, f));
                named = true;
            }
        }
        const Resonance* r = measured->resonance();
        if (r == nullptr) {
            // Never without a finding that says why.
            if (!named) {
                out.result.findings.push_back({FindingCode::no_resonance, Weight::reject,
                                               fmt::format("with {} ({}): no resonance", name, p.file)});
            }
            continue;
        }
        out.points.back().resonance = *r;
        input.names.push_back(name);
        input.points.push_back({p.capacitance_f, p.limit_f, r->frequency_hz, noise_of(*r)});
    }
    const auto reject = [&] {
        for (LoadingPointResult& p : out.points) p.resonance.reset();
    };
    if (out.result.verdict() == Verdict::rejected) {
        reject();
        return out;
    }
    gathered.into(out.result.findings, out.points.size());

    input.effects = shared_effects(out.points);
    std::optional<LoadingCurve> curve;
    SeriesPrior prior;
    if (family) {
        curve = LoadingCurve::of(*family);
        prior = {family->inductance_prior(), family->capacitance_prior(),
                 model::described_inductance_u(*out.result.description)};
    }
    SeriesJudgement judged = judge_series(input, curve ? &*curve : nullptr, prior);
    for (Finding& f : judged.findings) out.result.findings.push_back(std::move(f));
    if (out.result.verdict() == Verdict::rejected) {
        reject();
        return out;
    }
    out.straight_line = std::move(judged.straight_line);
    out.model = std::move(judged.model);
    out.result.reason_for_way = "known capacitors brought the resonance into the usable band; it was not seen unloaded";
    Accepted accepted;
    accepted.resonance = resonance_of(out.model ? *out.model : *out.straight_line, out.points);
    if (tank) {
        accepted.tank = tank_value(*out.straight_line);
        std::vector<Resonance> loaded;
        for (const LoadingPointResult& p : out.points) loaded.push_back(*p.resonance);
        Resonance& r = *accepted.resonance;
        if (const auto loss = tank_loss(loaded, r.frequency_hz, r.frequency_u95_hz)) {
            r.q = loss->q;
            r.q_u95 = loss->q_u95;
            if (accepted.tank) {
                accepted.tank->resistance_ohm =
                    2 * std::numbers::pi * r.frequency_hz * accepted.tank->inductance_h / loss->q;
            }
        }
    }
    if (auto other = judge_tank(accepted, out.result.calculated_tank)) {
        out.result.findings.push_back(std::move(*other));
    }
    if (out.result.calculated) {
        for (Finding& f : judge_description(out.result.hookup, *accepted.resonance, *out.result.calculated)) {
            out.result.findings.push_back(std::move(f));
        }
    }
    if (out.result.verdict() == Verdict::rejected) {
        reject();
        out.straight_line.reset();
        out.model.reset();
        return out;
    }
    out.result.outcome = std::move(accepted);
    return out;
}

}  // namespace coldtune::measure
