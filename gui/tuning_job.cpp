#include "gui/tuning_job.hpp"

#include <fmt/format.h>

#include "analyzer/measure/spark_source.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/tuning/evidence.hpp"

namespace coldtune::gui {
namespace {

using measure::KnownResult;
using record::Unit;

constexpr std::size_t kLongestResult = std::size_t{256} << 20;  // as measure::read_any_result allows

Result<std::string> text_of(const Evidence& e) {
    if (!e.is_file()) return e.written;
    return record::read_text(e.name, kLongestResult);
}

Result<KnownResult> known(const Evidence& e) {
    auto text = text_of(e);
    if (!text) return text.error();
    return measure::parse_any_result(*text, e.name);
}

std::string figure(const measure::KnownValue& v, Unit unit) {
    return record::format_with_uncertainty(v.value, v.u95, unit, true);
}

std::string figure(const KnownResult& k) {
    if (k.resonance) return figure(*k.resonance, Unit::hertz);
    if (k.tank_resonance) return figure(*k.tank_resonance, Unit::hertz);
    return k.inductance ? figure(*k.inductance, Unit::henry) : std::string();
}

class Worker {
public:
    explicit Worker(const TuningJob& job) : job_(job) { out_.serial = job.serial; }

    TuningOutcome run() {
        has_topload_ = job_.coil && !job_.coil->topload.empty();
        described_ = job_.coil && job_.coil->primary && job_.coil->tank;
        gather();
        steps();
        tune();
        compare();
        spark();
        return std::move(out_);
    }

private:
    std::optional<KnownResult> at(std::string_view key) {
        const Evidence* e = evidence_at(job_.form, key);
        if (e == nullptr) return std::nullopt;
        auto k = known(*e);
        if (!k) {
            out_.complaints[std::string(key)] = k.error().message;
            return std::nullopt;
        }
        out_.figures[std::string(key)] = figure(*k);
        return std::move(*k);
    }

    void gather() {
        secondary_ = at(place::secondary);
        bare_ = at(place::bare);
        inductance_ = at(place::inductance);
        // A coil that is to run without a top load was measured as it will stand when it was measured bare.
        if (job_.coil && !has_topload_ && bare_) {
            const Evidence* chosen = evidence_at(job_.form, place::secondary);
            if (chosen == nullptr || !chosen->by_hand) secondary_ = std::exchange(bare_, std::nullopt);
        }
        for (std::size_t i = 0; i < job_.form.taps.size(); ++i) {
            const std::string key = fmt::format("tap.{}", i);
            auto k = at(key);
            double turns = job_.reading.tap_turns[i].value_or(0);
            if (k && !(turns > 0) && k->described && k->described->tank && described_) {
                turns = k->described->tank->tap_turns.value_or(job_.coil->primary->turns);
            }
            out_.tap_turns.push_back(turns);
            if (!k) continue;
            if (job_.reading.complaints.contains(key)) continue;
            if (!(turns > 0)) {
                out_.complaints[key] = "It does not say where the tap was: write the turns beside it.";
                continue;
            }
            taps_.push_back({turns, std::move(*k)});
        }
    }

    void steps() {
        tuning::Progress p;
        p.described = described_;
        p.has_topload = has_topload_;
        p.bare = bare_.has_value();
        p.secondary = secondary_.has_value();
        p.taps = taps_.size();
        out_.steps = tuning::steps_of(p);
    }

    void tune() {
        if (!described_ || !secondary_ || taps_.empty() || !job_.reading.allowance) return;
        tuning::TuneRequest r;
        r.coil = *job_.coil;
        r.coil_name = "step 1";
        r.secondary = *secondary_;
        r.bare = bare_;
        r.taps = taps_;
        r.allowance = *job_.reading.allowance;
        auto result = tuning::tune(r);
        if (!result) {
            out_.tune_complaint = result.error().message;
            return;
        }
        out_.steps = result->steps;
        out_.request = std::move(r);
        out_.tune = std::move(*result);
    }

    void compare() {
        if (!job_.coil || !bare_ || !secondary_) return;
        tuning::CompareRequest r{*bare_, *secondary_, tuning::NamedCoil{*job_.coil, "step 1"}, inductance_,
                                 std::nullopt};
        if (job_.reading.instead) r.instead = tuning::NamedCoil{*job_.reading.instead, "the other top load"};
        auto result = tuning::compare(r);
        if (!result) {
            out_.compare_complaint = result.error().message;
            return;
        }
        out_.compare_request = std::move(r);
        out_.compare = std::move(*result);
    }

    // Of a circuit that was measured by itself; its Q with it.
    bool take_circuit(const Evidence* e, bool tank, measure::SparkInputs& in) {
        if (e == nullptr) return false;
        const auto text = text_of(*e);
        if (!text) return false;
        const auto c = tank ? measure::parse_tank(*text, e->name) : measure::parse_secondary(*text, e->name);
        if (!c || !c->q) {
            out_.spark_complaint =
                c ? fmt::format("{} says nothing of Q: that way cannot know it. Measure both circuits together.",
                                e->name)
                  : c.error().message;
            return false;
        }
        (tank ? in.value.primary_hz : in.value.secondary_hz) = c->frequency_hz;
        (tank ? in.u95.primary_hz : in.u95.secondary_hz) = c->frequency_u95_hz;
        (tank ? in.value.primary_q : in.value.secondary_q) = *c->q;
        (tank ? in.u95.primary_q : in.u95.secondary_q) = c->q_u95;
        in.sources.push_back(e->name);
        return true;
    }

    std::optional<measure::SparkInputs> spark_source(const std::optional<measure::SparkCoil>& coil) {
        if (const Evidence* both = evidence_at(job_.form, place::both)) {
            const auto text = text_of(*both);
            const auto pair =
                text ? measure::parse_pair(*text, both->name) : Result<measure::SparkInputs>(text.error());
            if (pair) {
                out_.figures[std::string(place::both)] =
                    "k " + record::format_with_uncertainty(pair->value.k, pair->u95.k, Unit::none, true);
                return *pair;
            }
            out_.complaints[std::string(place::both)] = pair.error().message;
            return std::nullopt;
        }
        const Evidence* winding = evidence_at(job_.form, place::coupling);
        if (winding == nullptr || job_.form.taps.empty() || !secondary_) return std::nullopt;
        const auto text = text_of(*winding);
        const auto k =
            text ? measure::parse_winding_coupling(*text, winding->name) : Result<measure::CouplingValue>(text.error());
        if (!k) {
            out_.complaints[std::string(place::coupling)] = k.error().message;
            return std::nullopt;
        }
        out_.figures[std::string(place::coupling)] =
            "k " + record::format_with_uncertainty(k->k, k->k_u95, Unit::none, true);
        measure::SparkInputs in;
        const Evidence* secondary = evidence_at(job_.form, place::secondary);
        if (secondary == nullptr || secondary_->name != secondary->name)
            secondary = evidence_at(job_.form, place::bare);
        if (!take_circuit(secondary, false, in) || !take_circuit(&job_.form.taps.back().evidence, true, in)) {
            return std::nullopt;
        }
        measure::take_coupling(in, *k, winding->name, coil);
        return in;
    }

    void spark() {
        if (!evidence_at(job_.form, place::both) && !evidence_at(job_.form, place::coupling)) return;
        std::optional<measure::SparkCoil> coil;
        if (described_) {
            if (auto c = measure::spark_coil(*job_.coil)) coil = *c;
        }
        auto inputs = spark_source(coil);
        if (!inputs) return;
        if (coil) {
            inputs->primary_capacitance_f = coil->primary_capacitance_f;
            inputs->secondary_capacitance_f = coil->secondary_capacitance_f;
        }
        auto figures = measure::spark_figures(*inputs);
        if (!figures) {
            out_.spark_complaint = figures.error().message;
            return;
        }
        if (const Evidence* both = evidence_at(job_.form, place::both); both != nullptr && job_.coil) {
            const auto turns = taps_.empty() ? std::nullopt : std::optional<double>(taps_.back().turns);
            out_.spark_remarks = tuning::judge_exchange(*inputs, both->name, *job_.coil, "step 1", turns);
        }
        out_.spark = std::move(*figures);
    }

    const TuningJob& job_;
    TuningOutcome out_;
    bool has_topload_ = false, described_ = false;
    std::optional<KnownResult> secondary_, bare_, inductance_;
    std::vector<tuning::TapResult> taps_;
};

}  // namespace

TuningOutcome work_out(const TuningJob& job) {
    return Worker(job).run();
}

ComparisonOutcome work_out(const ComparisonJob& job) {
    ComparisonOutcome out;
    out.serial = job.serial;
    auto a = known(job.a), b = known(job.b);
    for (const auto* k : {&a, &b}) {
        if (*k) continue;
        out.complaint = k->error().message;
        return out;
    }
    if (a->tank_resonance && b->tank_resonance) {
        out.tank_shift = tuning::shift_of(*a->tank_resonance, *b->tank_resonance, tuning::same_clock(*a, *b));
        return out;
    }
    tuning::CompareRequest r{std::move(*a), std::move(*b), job.coil, std::nullopt, std::nullopt};
    if (job.inductance && job.coil) {
        if (auto k = known(*job.inductance)) r.inductance = std::move(*k);
    }
    auto result = tuning::compare(r);
    if (!result) {
        out.complaint = result.error().message;
        return out;
    }
    out.request = std::move(r);
    out.compare = std::move(*result);
    return out;
}

}  // namespace coldtune::gui
