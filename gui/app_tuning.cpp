// The tuning step: what stands where, and what comes of it. The work is done beside the drawing thread
// (tuning_job.hpp).
#include <fmt/format.h>

#include <algorithm>

#include "gui/app.hpp"

namespace coldtune::gui {

using bench::Hookup;

namespace {

// The place that a step of the sequence fills.
std::string_view place_of_step(std::string_view step) {
    if (step == "bare") return place::bare;
    if (step == "secondary") return place::secondary;
    if (step == "tank" || step == "second-tap" || step == "verify") return place::new_tap;
    return {};
}

bool same(const Evidence& e, const Run& run) {
    return !e.is_file() && e.written == run.written;
}

}  // namespace

void App::act_on_tuning(const Action& a) {
    Tuning& t = state_.tuning;
    TuningForm& form = t.form;
    switch (a.what) {
        case Do::place_run: {
            const Run* run = state_.run(static_cast<int>(a.number));
            if (run == nullptr || run->written.empty()) return;
            if (!put(form, a.key, evidence_of(*run))) return;
            break;
        }
        case Do::place_file:
            if (!put(form, a.key, {a.text, {}, true})) return;
            break;
        case Do::place_nothing:
            if (!take_away(form, a.key)) return;
            break;
        case Do::tap_stands_here: {
            const auto index = tap_index(form, a.key);
            if (!index) return;
            const auto at = form.taps.begin() + static_cast<std::ptrdiff_t>(*index);
            std::rotate(at, at + 1, form.taps.end());
            break;
        }
        case Do::set_instead:
            set_instead(form, a.text);
            break;
        case Do::set_field: {
            const std::string key = a.key.substr(std::string_view("tuning.").size());
            if (key == "allowance") {
                form.allowance = a.text;
            } else if (const auto index = tap_index(form, key)) {
                form.taps[*index].turns = a.text;
            } else if (form.instead.text.contains(key)) {
                form.instead.text[key] = a.text;
            } else {
                return;
            }
            break;
        }
        case Do::measure_place: {
            if (state_.busy()) return;
            std::string_view place = a.text;
            if (place.empty() && t.outcome) {
                for (const tuning::Step& step : t.outcome->steps) {
                    const bool left =
                        step.state == tuning::Step::State::left || step.state == tuning::Step::State::again;
                    if (left && step.key == "describe") return act_on_window(action(Do::go_coil));
                    if (left && place.empty()) place = place_of_step(step.key);
                }
            }
            return wire_for(place);
        }
        case Do::tap_moved: {
            const auto& tune = t.outcome ? t.outcome->tune : std::optional<tuning::TuneResult>();
            if (state_.busy() || !tune || !tune->tuning || !tune->tuning->advice) return;
            act_on_coil(
                {Do::set_field, "tank.tap_turns", fmt::format("{:.2f}", tune->tuning->advice->turns.value), 0, false});
            wire_for(place::new_tap);
            return;
        }
        case Do::tuning_view:
            t.view = static_cast<TuningView>(std::clamp(static_cast<int>(a.number), 0, kTuningViews - 1));
            return;
        case Do::next_tuning_view:
            if (state_.step == Step::tuning) {
                t.view = static_cast<TuningView>((static_cast<int>(t.view) + 1) % kTuningViews);
            }
            return;
        default:
            return;
    }
    if (a.key == place::inductance) {
        state_.comparison.a = -1;  // it rests on that
        compare_again();
    }
    retune();
}

// The bench set for a measurement of that place; where the wires have to move, they are shown first.
void App::wire_for(std::string_view place) {
    const bool known = place == place::bare || place == place::secondary || place == place::inductance ||
                       place == place::coupling || place == place::both || place.starts_with(place::new_tap);
    if (!known) return;
    if (place == place::coupling && !(state_.bench_reading.settings && fits_bench(winding_open_))) {
        place = place::inductance;
        state_.notice = "First the winding with the primary open, then once more with it shorted.";
    }
    const BenchForm before = state_.bench;
    const bool winding = place == place::inductance || place == place::coupling;
    const Hookup hookup = winding ? Hookup::winding : place.starts_with(place::new_tap) ? Hookup::tank : Hookup::foot;
    const Standing standing = place == place::bare       ? Standing::bare
                              : place == place::both     ? Standing::tank_closed
                              : place == place::coupling ? Standing::primary_shorted
                                                         : Standing::described;
    act_on_bench(action(Do::set_hookup, std::string(bench::describe(hookup).name)));
    act_on_bench(action(Do::set_standing, static_cast<double>(standing)));
    state_.step = before == state_.bench ? Step::sweep : Step::wiring;
}

void App::retune() {
    Tuning& t = state_.tuning;
    t.reading = read(t.form, state_.coil);
    t.pending = true;
    workers_.tune({++t.serial, state_.reading.coil, t.form, t.reading});
}

void App::take(TuningOutcome& outcome) {
    Tuning& t = state_.tuning;
    if (outcome.serial != t.serial) return;
    t.pending = false;
    t.outcome = std::make_shared<const TuningOutcome>(std::move(outcome));
}

void App::compare_again() {
    Comparison& c = state_.comparison;
    const Run* a = state_.compare_run ? state_.run(*state_.compare_run) : nullptr;
    const Run* b = state_.selected();
    const int a_id = a != nullptr ? a->id : -1, b_id = b != nullptr ? b->id : -1;
    if (a_id == c.a && b_id == c.b && (c.pending || c.outcome)) return;
    c = {a_id, b_id, c.serial + 1, false, nullptr};
    c.pending = a != nullptr && b != nullptr && a != b && !a->written.empty() && !b->written.empty();
    if (!c.pending) return;
    // In the order that the comparison has them in: without, with; else higher, lower. A tank has no such order.
    const Run *first = a, *second = b;
    const auto loaded = [](const Run& r) { return r.result.description && !r.result.description->topload.empty(); };
    const auto *ra = a->result.resonance(), *rb = b->result.resonance();
    const bool lower = ra != nullptr && rb != nullptr && ra->frequency_hz < rb->frequency_hz;
    const bool tanks = a->result.hookup == Hookup::tank && b->result.hookup == Hookup::tank;
    if (!tanks && (loaded(*a) != loaded(*b) ? loaded(*a) : lower)) std::swap(first, second);
    ComparisonJob job{c.serial, evidence_of(*first), evidence_of(*second), std::nullopt, std::nullopt};
    // What a top load added is told where one of the two stood without.
    const auto &da = a->result.description, &db = b->result.description;
    if (da && db && da->topload.empty() != db->topload.empty()) {
        const auto& whole = da->topload.empty() ? *db : *da;
        job.coil = tuning::NamedCoil{whole, whole.name};
        if (const Evidence* winding = evidence_at(state_.tuning.form, place::inductance)) job.inductance = *winding;
        if (job.inductance && (same(*job.inductance, *a) || same(*job.inductance, *b))) job.inductance.reset();
    }
    workers_.compare(std::move(job));
}

void App::take(ComparisonOutcome& outcome) {
    Comparison& c = state_.comparison;
    if (outcome.serial != c.serial) return;
    c.pending = false;
    c.outcome = std::make_shared<const ComparisonOutcome>(std::move(outcome));
}

}  // namespace coldtune::gui
