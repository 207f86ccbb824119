#include "analyzer/bench/bench_signal.hpp"

#include <algorithm>
#include <cmath>
#include <mutex>
#include <numbers>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "analyzer/bench/bench_faults.hpp"
#include "analyzer/bench/bench_filter.hpp"
#include "analyzer/bench/bench_noise.hpp"

namespace coldtune::bench {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t kMostFrames = std::size_t{1} << 26;

// Butterworth low-pass: poles on the circle of the corner frequency, evenly spread over its left half.
class Butterworth {
public:
    Butterworth(int order, double corner_hz) : corner_hz_(corner_hz) {
        for (int k = 0; k < order; ++k) {
            const double angle = std::numbers::pi * (0.5 + (k + 0.5) / order);
            poles_.emplace_back(std::cos(angle), std::sin(angle));
        }
    }
    Complex operator()(double frequency_hz) const {
        const Complex s(0, frequency_hz / corner_hz_);
        Complex denominator = 1;
        for (const Complex pole : poles_) denominator *= (s - pole);
        return 1.0 / denominator;  // the product of -poles is 1
    }

private:
    double corner_hz_;
    std::vector<Complex> poles_;
};

// Everything linear between a played and a recorded sample of 1.0.
Transfer transfer_of(const Bench& bench, const BenchCircuit& circuit) {
    const Interface& interface = bench.interface;
    const double volts = interface.output_full_scale_v / interface.input_full_scale_v;
    const double generator_gain = volts * bench.wiring.generator_input.gain;
    const double coil_gain = volts * bench.wiring.coil_input.gain;
    const AntiAlias& filter = interface.anti_alias;
    const Butterworth generator_filter(filter.order, filter.corner_hz);
    const Butterworth coil_filter(filter.order, filter.corner_hz * (1 + filter.coil_corner_mismatch));
    return [=](double frequency_hz) {
        const NodeVoltages v = circuit.solve(frequency_hz);
        return InputPair{generator_gain * generator_filter(frequency_hz) * v.generator,
                         coil_gain * coil_filter(frequency_hz) * v.coil};
    };
}

// 0 .. 1 .. 0 over a change, with raised-cosine ramps inside it.
double presence(const DeviceChange& change, double time_s) {
    const double inside = std::min(time_s - change.start_s, change.start_s + change.length_s - time_s);
    if (inside < 0) return 0;
    if (inside >= change.ramp_s) return 1;
    return 0.5 - 0.5 * std::cos(std::numbers::pi * inside / change.ramp_s);
}

void blend(FilteredPair& base, const FilteredPair& other, const std::vector<double>& share_of_other) {
    for (std::size_t i = 0; i < base.coil.size(); ++i) {
        base.generator[i] += share_of_other[i] * (other.generator[i] - base.generator[i]);
        base.coil[i] += share_of_other[i] * (other.coil[i] - base.coil[i]);
    }
}

// Delays a channel by whole frames, keeping its length.
std::vector<double> delayed(std::vector<double> samples, std::size_t frames) {
    const std::size_t shift = std::min(frames, samples.size());
    std::copy_backward(samples.begin(), samples.end() - static_cast<std::ptrdiff_t>(shift), samples.end());
    std::fill(samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(shift), 0.0);
    return samples;
}

// Level of white noise or of a sine as a peak-full-scale rms.
double rms_of_dbfs(double dbfs) {
    return std::pow(10.0, dbfs / 20) * std::numbers::sqrt2 / 2;
}

struct ChannelSetting {
    bool coil = false;
    bool dead = false;
    std::uint64_t seed = 0;
};

void finish_channel(std::vector<double>& samples, const Bench& bench, const ChannelSetting& setting, double rate_hz) {
    const Interface& interface = bench.interface;
    const Faults& faults = bench.faults;
    const double true_rate_hz =
        rate_hz * (1 + interface.clock_error_ppm * 1e-6) * (1 + interface.clock_drift_ppm * 1e-6);
    if (setting.dead) {
        std::fill(samples.begin(), samples.end(), 0.0);
    } else {
        if (bench.hum) {
            const double level = setting.coil ? bench.hum->level_dbfs : bench.hum->generator_level_dbfs;
            if (level > -300) add_hum(samples, *bench.hum, level, true_rate_hz);
        }
        if (setting.coil) {
            for (const Carrier& carrier : bench.carriers) {
                add_tone(samples, carrier.frequency_hz, std::pow(10.0, carrier.level_dbfs / 20), 0.3, true_rate_hz);
            }
        }
        if (faults.echo_db) add_echo(samples, *faults.echo_db, faults.echo_delay_s, rate_hz);
        add_harmonics(samples, setting.coil ? interface.coil_nonlinearity : interface.generator_nonlinearity);
    }
    const double noise_dbfs = setting.coil ? interface.coil_noise_dbfs : interface.generator_noise_dbfs;
    if (noise_dbfs > -300) add_noise(samples, rms_of_dbfs(noise_dbfs), setting.seed);
    const double offset = setting.coil ? interface.coil_dc : interface.generator_dc;
    if (offset != 0) {
        for (double& x : samples) x += offset;
    }
    if (faults.converted_rate_hz) pass_lower_rate(samples, *faults.converted_rate_hz, rate_hz);
    if (faults.automatic_gain_dbfs) {
        automatic_gain(samples, *faults.automatic_gain_dbfs, faults.automatic_gain_s, rate_hz);
    }
    if (faults.gate_dbfs) gate(samples, *faults.gate_dbfs, rate_hz);
    clip(samples, interface.clip_level);
    round_to_bits(samples, interface.bits);
    for (const BlockFault& fault : faults.blocks) apply_block(samples, fault);
}

}  // namespace

struct SimulatedBench::CoilOnce {
    std::mutex mutex;
    std::optional<Result<std::shared_ptr<const BenchCoil>>> built;
};

Result<SimulatedBench> SimulatedBench::build(Bench bench) {
    if (const Status checked = check_bench(bench); !checked) return checked.error();
    SimulatedBench simulated;
    simulated.bench_ = std::make_shared<const Bench>(std::move(bench));
    simulated.coil_ = std::make_shared<CoilOnce>();
    return simulated;
}

Result<BenchCircuit> SimulatedBench::circuit(Hookup hookup) const {
    if (!needs_coil(*bench_, hookup)) return BenchCircuit::build(*bench_, hookup, nullptr);
    const std::lock_guard lock(coil_->mutex);
    if (!coil_->built) coil_->built = BenchCoil::build(*bench_);
    if (!coil_->built->ok()) return coil_->built->error();
    return BenchCircuit::build(*bench_, hookup, **coil_->built);
}

Result<dsp::TwoChannelCapture> SimulatedBench::record(const SimulationRequest& request) const {
    const Bench& bench = *bench_;
    const Interface& interface = bench.interface;
    const double rate_hz = request.sample_rate_hz;
    if (!(rate_hz >= 8000 && rate_hz <= interface.sample_rate_hz)) {
        return device_error(fmt::format("The simulated interface does not run at {} Hz; it takes 8000 to {} Hz.",
                                        rate_hz, interface.sample_rate_hz));
    }
    const std::size_t frames = request.stimulus.size() + request.tail_frames;
    if (request.stimulus.empty() || request.stimulus.size() > kMostFrames || frames > kMostFrames) {
        return bad_input(fmt::format("A simulated recording holds 1 to {} frames.", kMostFrames));
    }
    if (std::any_of(request.stimulus.begin(), request.stimulus.end(), [](double x) { return !std::isfinite(x); })) {
        return bad_input("The stimulus holds samples that are not finite numbers.");
    }
    const Result<BenchCircuit> circuit = this->circuit(request.hookup);
    if (!circuit) return circuit.error();

    std::vector<double> played(request.stimulus.begin(), request.stimulus.end());
    add_harmonics(played, interface.output_nonlinearity);
    clip(played, 1);

    FilterSetting setting;
    setting.player_rate_hz = rate_hz * (1 + interface.clock_error_ppm * 1e-6);
    setting.recorder_over_player = 1 + interface.clock_drift_ppm * 1e-6;
    setting.frames = frames;
    setting.decay_s = circuit->decay_time_s();
    // Times of changes count from the first recorded frame, filtered frames from the first played one.
    const double latency_s = static_cast<double>(interface.latency_frames) / rate_hz;
    const auto shares = [&](std::size_t count, DeviceChange::Kind kind, const DeviceChange* only) {
        std::vector<double> share(count, 0.0);
        for (const DeviceChange& change : bench.faults.changes) {
            if (change.kind != kind || (only != nullptr && only != &change)) continue;
            for (std::size_t i = 0; i < count; ++i) {
                share[i] = std::max(share[i], presence(change, static_cast<double>(i) / rate_hz + latency_s));
            }
        }
        return share;
    };
    const bool loses_contact =
        std::any_of(bench.faults.changes.begin(), bench.faults.changes.end(),
                    [](const DeviceChange& change) { return change.kind == DeviceChange::Kind::contact_lost; });
    // What the coil sees of the stimulus: nothing while its contact is lost, so that it rings up afresh afterwards.
    std::vector<double> reaching = played;
    if (loses_contact) {
        const std::vector<double> lost = shares(reaching.size(), DeviceChange::Kind::contact_lost, nullptr);
        for (std::size_t i = 0; i < reaching.size(); ++i) reaching[i] *= 1 - lost[i];
    }
    FilteredPair pair = filter_pair(reaching, transfer_of(bench, *circuit), setting);
    for (const DeviceChange& change : bench.faults.changes) {
        if (change.kind != DeviceChange::Kind::added_capacitance || !needs_coil(request.hookup)) continue;
        const Result<BenchCircuit> changed =
            BenchCircuit::build(bench, request.hookup, coil_->built->value()->with_head_capacitance(change.added_f));
        if (!changed) return changed.error();
        blend(pair, filter_pair(reaching, transfer_of(bench, *changed), setting), shares(frames, change.kind, &change));
    }
    if (loses_contact && request.hookup != Hookup::loopback) {
        const Result<BenchCircuit> open = this->circuit(Hookup::open);
        if (!open) return open.error();
        blend(pair, filter_pair(played, transfer_of(bench, *open), setting),
              shares(frames, DeviceChange::Kind::contact_lost, nullptr));
    }

    dsp::TwoChannelCapture capture;
    capture.sample_rate_hz = rate_hz;
    capture.generator = delayed(std::move(pair.generator), interface.latency_frames);
    capture.coil = delayed(std::move(pair.coil), interface.latency_frames);
    const std::uint64_t seed =
        scatter_seed(scatter_seed(bench.seed + 16 * static_cast<std::uint64_t>(request.hookup)) + request.sweep_index);
    {
        const std::jthread generator_side([&] {
            finish_channel(capture.generator, bench, {false, bench.faults.generator_input_dead, scatter_seed(seed)},
                           rate_hz);
        });
        finish_channel(capture.coil, bench, {true, bench.faults.coil_input_dead, scatter_seed(seed + 1)}, rate_hz);
    }
    if (bench.faults.swapped_inputs) std::swap(capture.generator, capture.coil);
    return capture;
}

}  // namespace coldtune::bench
