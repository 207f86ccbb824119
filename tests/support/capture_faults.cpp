#include "tests/support/capture_faults.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <numbers>
#include <vector>

#include "dsp/fft.hpp"
#include "dsp/resample.hpp"

namespace coldtune::test {

double FaultDraw::log_uniform(double low, double high) {
    return low * std::pow(high / low, uniform(0, 1));
}

namespace {

using bench::Hookup;
using Samples = std::vector<double>;
using Kind = bench::DeviceChange::Kind;

// Between two values by strength, evenly in the logarithm.
double between(double faint, double gross, double strength) {
    return faint * std::pow(gross / faint, strength);
}

double from_db(double db) {
    return std::pow(10.0, db / 20);
}

double peak_of(const Samples& samples) {
    double peak = 0;
    for (const double x : samples) peak = std::max(peak, std::abs(x));
    return peak;
}

// --- wiring

void clip_in_the_air(FaultScene& s, double, FaultDraw&) {
    s.wired = Hookup::open;
}

void lead_on_the_return(FaultScene& s, double, FaultDraw&) {
    s.wired = Hookup::short_circuit;
}

void head_on_ground(FaultScene& s, double, FaultDraw&) {
    s.wired = Hookup::winding;
}

void inputs_swapped(FaultScene& s, double, FaultDraw&) {
    s.both([](bench::Bench& b) { b.faults.swapped_inputs = true; });
}

void generator_input_dead(FaultScene& s, double, FaultDraw&) {
    s.both([](bench::Bench& b) { b.faults.generator_input_dead = true; });
}

void coil_input_dead(FaultScene& s, double, FaultDraw&) {
    s.both([](bench::Bench& b) { b.faults.coil_input_dead = true; });
}

// The wrong resistor from the box: at least one step of the E12 series off, up to a decade.
void another_reference(FaultScene& s, double strength, FaultDraw& draw) {
    double factor = between(1.2, 10, strength);
    if (draw.chance(0.5)) factor = 1 / factor;
    s.both([&](bench::Bench& b) { b.wiring.reference_ohm *= factor; });
    s.detail = fmt::format("reference x {:.3g}", factor);
}

// The device's ground then reaches the bench's through stray capacitance only: some tens of picofarads for a computer
// on its battery, some hundreds with its supply plugged in (estimate, no source), and the body of the coil picks up
// mains.
void return_missing(FaultScene& s, double strength, FaultDraw&) {
    const double farad = between(300e-12, 10e-12, strength);
    s.bench.wiring.missing_return_f = farad;
    s.detail = fmt::format("{:.0f} pF", farad * 1e12);
}

void return_missing_throughout(FaultScene& s, double strength, FaultDraw& draw) {
    return_missing(s, strength, draw);
    s.standards.wiring.missing_return_f = s.bench.wiring.missing_return_f;
}

void mains_hum(FaultScene& s, double strength, FaultDraw& draw) {
    // 0 to 40 dB above the sweep, which must be quiet for that.
    const double over_db = 40 * strength;
    s.shape.level_dbfs = std::min(-6.0, -3.0 - over_db);
    const double mains_hz = draw.chance(0.5) ? 50 : 60;
    s.both([&](bench::Bench& b) {
        bench::Hum hum;
        hum.mains_hz = mains_hz * (1 + draw.uniform(-1e-3, 1e-3));
        hum.level_dbfs = -9;
        hum.generator_level_dbfs = -60;
        b.hum = hum;
    });
    s.detail = fmt::format("sweep {:.0f} dBFS", s.shape.level_dbfs);
}

void broadcast_carrier(FaultScene& s, double strength, FaultDraw& draw) {
    const double near = s.resonance_hz < 0.45 * s.shape.rate_hz ? s.resonance_hz : 0.4 * s.shape.rate_hz;
    const double hz =
        draw.chance(0.5) ? near * (1 + draw.uniform(-0.01, 0.01)) : draw.uniform(2e3, 0.45 * s.shape.rate_hz);
    s.both([&](bench::Bench& b) { b.carriers.push_back({hz, -70 + 60 * strength}); });
    s.detail = fmt::format("{:.0f} Hz {:.0f} dBFS", hz, -70 + 60 * strength);
}

void loose_contact(FaultScene& s, double strength, FaultDraw& draw) {
    const double length_s = between(1e-3, 50e-3, strength);
    const double at = draw.uniform(s.settled_s(), s.end_s() - length_s);
    s.bench.faults.changes.push_back({Kind::contact_lost, at, length_s, 0, 0});
    s.detail = fmt::format("{:.0f} ms at {:.2f} s", 1e3 * length_s, at);
}

void coil_touched(FaultScene& s, double strength, FaultDraw& draw) {
    const double span = s.end_s() - s.settled_s();
    const double length_s = span * draw.uniform(0.1, 0.9);
    const double at = draw.uniform(s.settled_s() - 0.5 * length_s, s.end_s() - 0.5 * length_s);
    const double farad = between(0.02e-12, 20e-12, strength);
    s.bench.faults.changes.push_back({Kind::added_capacitance, std::max(0.0, at), length_s, 0.2 * length_s, farad});
    s.detail = fmt::format("{:.2g} pF {:.2f} s at {:.2f} s", farad * 1e12, length_s, at);
}

// Something comes and goes gently all the while: a person, a swinging lead.
void moving_surroundings(FaultScene& s, double strength, FaultDraw& draw) {
    const double farad = between(0.005e-12, 2e-12, strength);
    const double whole = s.end_s();
    const double each = whole / std::floor(draw.uniform(1, 6));
    for (double at = draw.uniform(-0.5 * each, 0); at < whole; at += each) {
        const double start = std::max(0.0, at);
        s.bench.faults.changes.push_back(
            {Kind::added_capacitance, start, at + each - start, 0.5 * (at + each - start), farad});
    }
    s.detail = fmt::format("{:.2g} pF every {:.2f} s", farad * 1e12, each);
}

// --- signal

void clip_one(FaultScene& s, double strength, Samples dsp::TwoChannelCapture::*channel) {
    const double share = 1 - 0.7 * strength;  // of its own peak
    s.coil_capture = [=](dsp::TwoChannelCapture& c) {
        const double level = share * peak_of(c.*channel) * 0.999;
        for (double& x : c.*channel) x = std::clamp(x, -level, level);
    };
    s.detail = fmt::format("at {:.2f} of the peak", share);
}

void generator_side_clips(FaultScene& s, double strength, FaultDraw&) {
    clip_one(s, strength, &dsp::TwoChannelCapture::generator);
}

void coil_side_clips(FaultScene& s, double strength, FaultDraw&) {
    clip_one(s, strength, &dsp::TwoChannelCapture::coil);
}

void block(FaultScene& s, double strength, FaultDraw& draw, bench::BlockFault::Kind kind) {
    constexpr std::array<std::size_t, 7> lengths{32, 64, 128, 256, 480, 1024, 4096};
    const auto frames = lengths[static_cast<std::size_t>(strength * 6.99)];
    const auto at = static_cast<std::size_t>(draw.uniform(s.settled_s(), s.end_s()) * s.shape.rate_hz) - frames;
    s.bench.faults.blocks.push_back({kind, at, frames});
    s.detail = fmt::format("{} frames at {}", frames, at);
}

void dropout(FaultScene& s, double strength, FaultDraw& draw) {
    block(s, strength, draw, bench::BlockFault::Kind::zeros);
}

void duplicated_block(FaultScene& s, double strength, FaultDraw& draw) {
    block(s, strength, draw, bench::BlockFault::Kind::repeated);
}

void lost_block(FaultScene& s, double strength, FaultDraw& draw) {
    block(s, strength, draw, draw.chance(0.5) ? bench::BlockFault::Kind::lost : bench::BlockFault::Kind::inserted);
}

// The file says another rate than was recorded with.
void wrong_rate(FaultScene& s, double, FaultDraw& draw) {
    // Twice the rate puts the mains at 100 or 120 Hz, where it may well be: only the calculated value tells.
    constexpr std::array factors{44.1 / 48, 48 / 44.1, 0.5, 96 / 88.2, 88.2 / 96, 2.0};
    const double factor = factors[draw.below(factors.size() - (s.description ? 0 : 1))];
    s.every_capture = [=](dsp::TwoChannelCapture& c) { c.sample_rate_hz *= factor; };
    s.detail = fmt::format("stated rate x {:.3f}", factor);
}

// The player ran at another rate than the recorder.
void rates_differ(FaultScene& s, double, FaultDraw& draw) {
    const double step = draw.chance(0.5) ? 48 / 44.1 : 44.1 / 48;
    s.every_capture = [=](dsp::TwoChannelCapture& c) {
        for (Samples* channel : {&c.generator, &c.coil}) {
            Samples out(static_cast<std::size_t>(static_cast<double>(channel->size()) / step));
            dsp::read_at(*channel, 0, step, out);
            *channel = std::move(out);
        }
    };
}

void rate_conversion(FaultScene& s, double strength, FaultDraw&) {
    const double lower = s.shape.rate_hz * (0.95 - 0.8 * strength);
    s.both([&](bench::Bench& b) { b.faults.converted_rate_hz = lower; });
    s.detail = fmt::format("through {:.0f} Hz", lower);
}

void automatic_gain(FaultScene& s, double strength, FaultDraw& draw) {
    const double time_s = draw.log_uniform(0.02, 2);
    s.both([&](bench::Bench& b) {
        b.faults.automatic_gain_dbfs = -30 + 20 * strength;
        b.faults.automatic_gain_s = time_s;
    });
    s.detail = fmt::format("{:.2f} s", time_s);
}

void noise_gate(FaultScene& s, double strength, FaultDraw&) {
    s.both([&](bench::Bench& b) { b.faults.gate_dbfs = -60 + 45 * strength; });
    s.detail = fmt::format("{:.0f} dBFS", -60 + 45 * strength);
}

// A transform codec: sine-windowed blocks, half overlapping, each band of a block rounded to few steps of its own
// level, nothing above a limit. What perceptual coders have in common (common practice, no source).
void transform_codec(Samples& samples, double steps, double top) {
    constexpr std::size_t n = 2048, half = n / 2;
    dsp::RealFft fft(n);
    Samples out(samples.size() + n, 0.0);
    Samples window(n);
    for (std::size_t i = 0; i < n; ++i)
        window[i] = std::sin(std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(n));
    for (std::size_t at = 0; at < samples.size(); at += half) {
        for (std::size_t i = 0; i < n; ++i) fft.time()[i] = at + i < samples.size() ? window[i] * samples[at + i] : 0.0;
        fft.forward();
        const auto bins = fft.spectrum();
        for (std::size_t from = 0; from < bins.size();) {
            const std::size_t to = std::min(bins.size(), from + std::max<std::size_t>(4, from / 8));
            double power = 0;
            for (std::size_t k = from; k < to; ++k) power += std::norm(bins[k]);
            const double step = std::sqrt(power / static_cast<double>(to - from)) / steps;
            for (std::size_t k = from; k < to; ++k) {
                const bool gone = static_cast<double>(k) > top * static_cast<double>(half) || !(step > 0);
                bins[k] = gone ? 0.0
                               : step * std::complex<double>(std::nearbyint(bins[k].real() / step),
                                                             std::nearbyint(bins[k].imag() / step));
            }
            from = to;
        }
        fft.inverse();
        // The squares of half-overlapping sine windows add up to one.
        for (std::size_t i = 0; i < n; ++i) out[at + i] += window[i] * fft.time()[i];
    }
    std::copy_n(out.begin(), samples.size(), samples.begin());
}

void lossy_compression(FaultScene& s, double strength, FaultDraw& draw) {
    const double steps = between(12, 1, strength);
    const double top = draw.uniform(0.6, 0.95);
    s.every_capture = [=](dsp::TwoChannelCapture& c) {
        transform_codec(c.generator, steps, top);
        transform_codec(c.coil, steps, top);
    };
    s.detail = fmt::format("{:.1f} steps, to {:.2f}", steps, top);
}

void echo(FaultScene& s, double strength, FaultDraw& draw) {
    const double delay_s = draw.log_uniform(0.2e-3, 0.1);
    s.both([&](bench::Bench& b) {
        b.faults.echo_db = -60 + 54 * strength;
        b.faults.echo_delay_s = delay_s;
    });
    s.detail = fmt::format("{:.0f} dB {:.2g} ms", -60 + 54 * strength, 1e3 * delay_s);
}

// What is played comes round into the coil's input a second time, through the mixer.
void monitor_loop(FaultScene& s, double strength, FaultDraw& draw) {
    const double delay_s = draw.log_uniform(0.1e-3, 0.05);
    const double gain = from_db(-60 + 54 * strength);
    const auto frames = static_cast<std::size_t>(delay_s * s.shape.rate_hz);
    s.every_capture = [=](dsp::TwoChannelCapture& c) {
        for (std::size_t i = frames; i < c.coil.size(); ++i) c.coil[i] += gain * c.generator[i - frames];
    };
    s.detail = fmt::format("{:.0f} dB {:.2g} ms", -60 + 54 * strength, 1e3 * delay_s);
}

void direct_current(FaultScene& s, double strength, FaultDraw& draw) {
    const double offset = between(1e-3, 0.5, strength) * (draw.chance(0.5) ? 1 : -1);
    s.both([&](bench::Bench& b) { (draw.chance(0.5) ? b.interface.coil_dc : b.interface.generator_dc) = offset; });
    s.detail = fmt::format("{:.3f}", offset);
}

void eight_bits(FaultScene& s, double strength, FaultDraw&) {
    s.both([](bench::Bench& b) { b.interface.bits = 8; });
    s.shape.level_dbfs = -6 - 24 * strength;
    s.detail = fmt::format("sweep {:.0f} dBFS", s.shape.level_dbfs);
}

// --- clock

void clock_drift(FaultScene& s, double strength, FaultDraw& draw) {
    const double ppm = 300 * strength * (draw.chance(0.5) ? 1 : -1);
    s.both([&](bench::Bench& b) { b.interface.clock_drift_ppm = ppm; });
    s.detail = fmt::format("{:.0f} ppm", ppm);
}

// From some moment on the recorder runs faster or slower.
void clock_jump(FaultScene& s, double strength, FaultDraw& draw) {
    const double ppm = between(3, 3000, strength) * (draw.chance(0.5) ? 1 : -1);
    const double at_s = draw.uniform(s.settled_s(), s.end_s());
    const auto at = static_cast<std::size_t>(at_s * s.shape.rate_hz);
    s.coil_capture = [=](dsp::TwoChannelCapture& c) {
        for (Samples* channel : {&c.generator, &c.coil}) {
            Samples out(channel->size() - at);
            dsp::read_at(*channel, static_cast<double>(at), 1 + ppm * 1e-6, out);
            std::copy(out.begin(), out.end(), channel->begin() + static_cast<std::ptrdiff_t>(at));
        }
    };
    s.detail = fmt::format("{:.0f} ppm at {:.2f} s", ppm, at_s);
}

constexpr std::array kFaults = {
    CaptureFault{"clip in the air", clip_in_the_air},
    CaptureFault{"lead on the return", lead_on_the_return},
    CaptureFault{"inputs swapped", inputs_swapped},
    CaptureFault{"generator input dead", generator_input_dead},
    CaptureFault{"coil input dead", coil_input_dead},
    CaptureFault{"another reference resistor", another_reference},
    CaptureFault{"return missing", return_missing, true},
    CaptureFault{"return missing throughout", return_missing_throughout, true},
    CaptureFault{"head clipped to ground", head_on_ground},
    CaptureFault{"mains hum", mains_hum},
    CaptureFault{"broadcast carrier", broadcast_carrier},
    CaptureFault{"loose contact", loose_contact},
    CaptureFault{"coil touched", coil_touched},
    CaptureFault{"moving surroundings", moving_surroundings},
    CaptureFault{"generator side clips", generator_side_clips},
    CaptureFault{"coil side clips", coil_side_clips},
    CaptureFault{"dropout", dropout},
    CaptureFault{"duplicated block", duplicated_block},
    CaptureFault{"lost block", lost_block},
    CaptureFault{"wrong rate stated", wrong_rate},
    CaptureFault{"rates differ", rates_differ},
    CaptureFault{"rate conversion", rate_conversion},
    CaptureFault{"automatic gain", automatic_gain},
    CaptureFault{"noise gate", noise_gate},
    CaptureFault{"lossy compression", lossy_compression},
    CaptureFault{"echo", echo},
    CaptureFault{"monitor loop", monitor_loop},
    CaptureFault{"direct current", direct_current},
    CaptureFault{"eight bits", eight_bits},
    CaptureFault{"clock drift", clock_drift},
    CaptureFault{"clock jump", clock_jump},
};

}  // namespace

double FaultScene::settled_s() const {
    return (static_cast<double>(shape.period) + 4000 + static_cast<double>(bench.interface.latency_frames)) /
           shape.rate_hz;
}

double FaultScene::end_s() const {
    return (static_cast<double>(shape.period * shape.periods) + 3000 +
            static_cast<double>(bench.interface.latency_frames)) /
           shape.rate_hz;
}

std::span<const CaptureFault> capture_faults() {
    return kFaults;
}

const CaptureFault& capture_fault(std::string_view name) {
    const auto it = std::find_if(kFaults.begin(), kFaults.end(), [&](const auto& f) { return f.name == name; });
    if (it == kFaults.end()) std::abort();
    return *it;
}

measure::AnalysisRequest record_scene(const FaultScene& scene) {
    const auto record = [&](const bench::Bench& bench, Hookup hookup) {
        audio::CaptureFile file = capture(bench, hookup, scene.shape);
        if (scene.every_capture) scene.every_capture(file.capture);
        return file;
    };
    measure::AnalysisRequest request = request_for(scene.bench, record(scene.bench, scene.wired));
    if (scene.coil_capture) scene.coil_capture(request.coil.capture);
    const auto standard_of = [&](Hookup hookup) {
        bench::Bench bench = scene.standards;
        bench.seed = bench.seed * 7919 + static_cast<std::uint64_t>(hookup) + 1;
        return measure::Standard{record(bench, hookup), std::string(bench::describe(hookup).name)};
    };
    if (scene.use_open) request.open = standard_of(Hookup::open);
    if (scene.use_short) request.short_circuit = standard_of(Hookup::short_circuit);
    if (scene.use_load) request.load = standard_of(Hookup::load);
    request.description = scene.description;
    return request;
}

}  // namespace coldtune::test
