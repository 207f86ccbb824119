// What the window does on the bench: devices, wiring, standards, sweeps.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "gui/app.hpp"

namespace coldtune::gui {

using bench::Hookup;

namespace {

constexpr std::array kStandards = {Hookup::open, Hookup::short_circuit, Hookup::load};

// A wiring check looks, it does not measure: short periods, few of them.
constexpr double kCheckPeriod_s = 0.1;
constexpr std::size_t kCheckPeriods = 4;

}  // namespace

void App::act_on_bench(const Action& a) {
    BenchForm& bench = state_.bench;
    const auto standard_named = [&]() -> std::optional<Hookup> {
        const auto hookup = bench::hookup_from_name(a.text);
        if (!hookup || std::find(kStandards.begin(), kStandards.end(), *hookup) == kStandards.end())
            return std::nullopt;
        return hookup;
    };
    switch (a.what) {
        case Do::sweep_or_stop:
            if (state_.busy()) return stop();
            if (state_.step == Step::wiring) return start(Task::wiring_check, bench.hookup);
            if (state_.step == Step::standards) {
                // The first one that is still missing; all there: the open one again.
                for (Hookup h : kStandards) {
                    if (!state_.standards.contains(h)) return start(Task::sweep, h);
                }
                return start(Task::sweep, Hookup::open);
            }
            state_.step = Step::sweep;
            return start(Task::sweep, bench.hookup);
        case Do::stop:
            return stop();
        case Do::follow_or_stop:
            if (state_.busy()) return stop();
            state_.step = Step::sweep;
            return start(Task::follow, bench.hookup);
        case Do::listen_or_stop:
            if (state_.busy()) return stop();
            state_.step = Step::wiring;
            return start(Task::listen, bench.hookup);
        case Do::show_cautions:
            state_.cautions_open = !state_.cautions_open;
            return;
        case Do::acknowledge_cautions:
            state_.cautions_acknowledged = true;
            state_.cautions_open = false;
            if (const Task asked = std::exchange(state_.after_cautions, Task::none); asked != Task::none) {
                start(asked, bench.hookup);
            }
            return;
        default:
            break;
    }
    // Nothing of the bench is changed under a running sweep.
    if (state_.busy()) return;
    const BenchForm before = bench;
    switch (a.what) {
        case Do::set_field:
            if (find_bench_field(a.key) == nullptr) return;
            bench.text[a.key] = a.text;
            break;
        case Do::set_device:
            bench.device = a.text;
            for (const audio::DeviceInfo& d : state_.devices) {
                if (d.name != a.text || d.rates_hz.empty()) continue;
                // The highest rate hears the furthest.
                if (std::find(d.rates_hz.begin(), d.rates_hz.end(), bench.sample_rate_hz) == d.rates_hz.end()) {
                    bench.sample_rate_hz = *std::max_element(d.rates_hz.begin(), d.rates_hz.end());
                }
            }
            break;
        case Do::set_rate:
            if (a.number > 0) bench.sample_rate_hz = a.number;
            break;
        case Do::set_hookup:
            if (const auto hookup = bench::hookup_from_name(a.text); hookup && bench::seeks_resonance(*hookup)) {
                const Standing stood = bench.standing();
                bench.hookup = *hookup;
                if (bench.standing() != stood) calculate();
                content_changed();
                if (state_.view.follows_data) show_near();
            }
            break;
        case Do::set_standing:
            if (a.number >= 0 && a.number <= 3) bench.secondary = static_cast<Standing>(static_cast<int>(a.number));
            // Another coil to calculate, or the same one again.
            calculate();
            break;
        case Do::set_output:
            bench.output_channel = std::max(0, static_cast<int>(a.number));
            break;
        case Do::set_generator_input:
            bench.generator_input = std::max(0, static_cast<int>(a.number));
            break;
        case Do::set_coil_input:
            bench.coil_input = std::max(0, static_cast<int>(a.number));
            break;
        case Do::list_devices:
            if (state_.listing_devices) return;
            state_.listing_devices = true;
            workers_.list_devices();
            return;
        case Do::check_wiring:
            state_.step = Step::wiring;
            return start(Task::wiring_check, bench.hookup);
        case Do::take_standard:
            if (const auto hookup = standard_named()) start(Task::sweep, *hookup);
            return;
        case Do::drop_standard:
            if (const auto hookup = standard_named()) {
                const auto taken = state_.standards.find(*hookup);
                if (taken == state_.standards.end()) return;
                if (!taken->second.kept_sha256.empty()) {
                    state_.forgotten_standards.push_back(taken->second.kept_sha256);
                }
                state_.standards.erase(taken);
            }
            return;
        default:
            return;
    }
    // What was heard was heard of another bench.
    if (bench != before) state_.wiring_check.reset();
    bench_changed();
}

void App::bench_changed() {
    const auto before = state_.bench_reading.settings;
    state_.bench_reading = read(state_.bench);
    const auto& now = state_.bench_reading.settings;
    // The advice depends on the rate and the resistor.
    if (before && now &&
        (before->sample_rate_hz != now->sample_rate_hz || before->bench.reference_ohm != now->bench.reference_ohm)) {
        calculate();
    }
}

std::optional<std::string> App::why_not() const {
    if (state_.book.opening) return "The runs of this coil are still being read; try again in a moment.";
    if (!state_.bench_reading.settings) return "The bench has a field that cannot be read; look at step 2.";
    if (state_.bench.simulated() && !state_.reading.coil) {
        return "The simulated bench plays the coil you describe; complete step 1 first.";
    }
    if (state_.bench.simulated() && state_.bench.standing() == Standing::tank_closed &&
        !(state_.reading.coil->primary && state_.reading.coil->tank)) {
        return "The simulated bench needs a primary and a tank to close; describe them in step 1.";
    }
    if (state_.bench.standing() == Standing::primary_shorted) {
        if (!fits_bench(winding_open_)) {
            return "The coupling is told by the winding with the primary open and shorted: sweep it open first, on "
                   "this "
                   "interface.";
        }
        if (state_.bench.simulated() && !(state_.reading.coil->primary && state_.reading.coil->tank)) {
            return "The simulated bench needs a primary and a tank to short; describe them in step 1.";
        }
    }
    return std::nullopt;
}

// Still taken as the bench is now.
bool App::fits_bench(const std::shared_ptr<const audio::CaptureFile>& capture) const {
    return capture && capture->note && capture->note->device == state_.bench.device &&
           capture->capture.sample_rate_hz == state_.bench.sample_rate_hz &&
           capture->note->reference_ohm == state_.bench_reading.settings->bench.reference_ohm;
}

void App::start(Task task, Hookup hookup) {
    if (state_.busy()) return;
    state_.notice.clear();
    state_.complaint.clear();
    if (const auto reason = why_not()) {
        state_.complaint = refusal_ = *reason;
        return;
    }
    // Listening plays nothing.
    if (!state_.bench.simulated() && !state_.cautions_acknowledged && task != Task::listen) {
        state_.cautions_open = true;
        const bool resumes = task == Task::follow || (task == Task::sweep && bench::seeks_resonance(hookup));
        state_.after_cautions = resumes ? task : Task::none;
        return;
    }
    SweepJob job;
    job.task = task;
    job.settings = *state_.bench_reading.settings;
    job.settings.hookup = hookup;
    job.coil = state_.standing_coil();
    job.tank_closed = hookup == Hookup::foot && state_.bench.standing() == Standing::tank_closed;
    if (hookup == Hookup::winding && task == Task::sweep && state_.bench.standing() == Standing::primary_shorted) {
        job.winding_open = winding_open_;
    }
    job.settings.coupled = job.tank_closed && task == Task::sweep;
    // The calculated value belongs to the secondary, or to the tank; a winding by itself has none.
    if (hookup == Hookup::foot || hookup == Hookup::pickup || hookup == Hookup::tank) job.description = job.coil;
    if (task == Task::wiring_check) {
        job.settings.period_frames =
            dsp::choose_period(static_cast<std::size_t>(kCheckPeriod_s * job.settings.sample_rate_hz));
        job.settings.periods = kCheckPeriods;
        job.description.reset();
    } else {
        for (const auto& [which, taken] : state_.standards) {
            if (state_.usable(taken)) job.standards[which] = taken.file;
        }
    }
    state_.following.reset();
    if (task == Task::follow) state_.following.emplace();
    state_.progress = {};
    state_.progress.task = task;
    state_.progress.hookup = hookup;
    state_.progress.what = "starting";
    state_.generator_meter = state_.coil_meter = {};
    job_ = job;
    workers_.sweep(std::move(job));
}

void App::stop() {
    if (!state_.busy()) return;
    state_.progress.stopping = true;
    workers_.stop();
}

void App::take(ProgressReport& report) {
    if (!state_.busy()) return;
    Progress& p = state_.progress;
    if (report.analysing) {
        p.analysing = true;
        p.what = "analysing";
        p.fraction = 1;
        p.seconds_left = 0;
        return;
    }
    p.step = report.progress.step;
    p.steps = report.progress.steps;
    p.what = report.progress.what;
    p.fraction = report.progress.fraction;
    p.seconds_left = report.progress.seconds_left;
    const auto show = [](Meter& meter, double peak) {
        meter.peak = peak;
        meter.held = std::max(meter.held, peak);
    };
    show(state_.generator_meter, report.progress.peak_generator);
    show(state_.coil_meter, report.progress.peak_coil);
}

void App::take(DevicesReport& report) {
    state_.listing_devices = false;
    state_.devices_complaint.clear();
    state_.devices.clear();
    if (!report.devices) {
        state_.devices_complaint = report.devices.error().message;
        return;
    }
    for (const audio::DeviceInfo& d : *report.devices) {
        if (d.input_channels >= 1 && d.output_channels >= 1) state_.devices.push_back(d);
    }
}

void App::take(SweepReport& report) {
    const double reference = state_.bench_reading.settings ? state_.bench_reading.settings->bench.reference_ohm : 0;
    state_.progress = {};
    if (report.task == Task::follow) end_following();
    state_.generator_meter.peak = state_.coil_meter.peak = 0;
    if (report.task == Task::follow || report.task == Task::listen) {
        if (!report.stopped && !report.result) state_.complaint = report.result.error().message;
        return;
    }
    if (report.stopped) {
        state_.notice = "Stopped; nothing was measured.";
        return;
    }
    if (report.task == Task::wiring_check) {
        WiringCheck check;
        check.time = Clock::now();
        if (!report.result) {
            check.complaint = report.result.error().message;
        } else {
            for (measure::Finding& f : report.result->findings) {
                // Whether a resonance is there is for the sweep to say; here only the wiring counts.
                const auto code = f.code;
                if (code == measure::FindingCode::uncorrected || code == measure::FindingCode::outside_band ||
                    code == measure::FindingCode::no_resonance || code == measure::FindingCode::several_peaks) {
                    continue;
                }
                check.findings.push_back(std::move(f));
            }
            check.good = measure::verdict_of(check.findings) == measure::Verdict::good;
        }
        state_.wiring_check = std::move(check);
        return;
    }
    if (!report.result) {
        state_.complaint = report.result.error().message;
        return;
    }
    if (!bench::seeks_resonance(report.hookup)) {
        if (report.result->verdict() == measure::Verdict::rejected) {
            state_.complaint = fmt::format("The {} standard was not kept: {}", bench::describe(report.hookup).name,
                                           report.result->findings.empty() ? std::string("it cannot be read")
                                                                           : report.result->findings.front().text);
            return;
        }
        StandardTaken taken;
        taken.file = std::move(report.capture);
        taken.result = std::move(*report.result);
        taken.time = Clock::now();
        taken.device = state_.bench.device;
        taken.sample_rate_hz = taken.result.sample_rate_hz;
        taken.reference_ohm = reference;
        ask_book(KeepStandard{report.hookup, taken.file});
        state_.standards[report.hookup] = std::move(taken);
        state_.notice = fmt::format("The {} standard is taken.", bench::describe(report.hookup).name);
        return;
    }
    const auto* accepted = std::get_if<measure::Accepted>(&report.result->outcome);
    if (accepted != nullptr && accepted->winding && !accepted->coupling) winding_open_ = report.capture;
    add_run(report);
}

}  // namespace coldtune::gui
