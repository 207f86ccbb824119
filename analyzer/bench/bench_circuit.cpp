#include "analyzer/bench/bench_circuit.hpp"

#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "analyzer/bench/bench_nodal.hpp"
#include "analyzer/model/primary.hpp"

namespace coldtune::bench {
namespace {

using Complex = std::complex<double>;

constexpr double kTwoPi = 2 * std::numbers::pi;
// Direct current is taken as the limit from above; capacitors and inductors differ from open and short by 1e-9 there.
constexpr double kLowestHz = 1e-3;

Complex jw(double frequency_hz) {
    return {0, kTwoPi * frequency_hz};
}

// Admittance of a resistance and a capacitance side by side.
Complex input_admittance(const BenchInput& input, double frequency_hz) {
    return 1 / input.resistance_ohm + jw(frequency_hz) * (input.capacitance_f + input.cable_f);
}

// A series impedance in front of an admittance; finite also when the admittance is zero.
Complex behind(Complex series_impedance, Complex admittance) {
    return admittance / (1.0 + series_impedance * admittance);
}

Complex winding_ohm(const LumpedBranch& branch, double frequency_hz) {
    return branch.resistance_ohm + jw(frequency_hz) * branch.inductance_h;
}

Complex branch_admittance(const LumpedBranch& branch, double frequency_hz) {
    return behind(winding_ohm(branch, frequency_hz), jw(frequency_hz) * branch.capacitance_f);
}

// Once round the loop of primary and tank capacitor; a shorted primary has none.
Complex loop_ohm(const model::TankLoop& loop, double frequency_hz) {
    const Complex s = jw(frequency_hz);
    const Complex coil = loop.resistance_ohm + s * loop.inductance_h;
    return loop.capacitance_f ? coil + 1.0 / (s * *loop.capacitance_f) : coil;
}

double branch_resonance_hz(const LumpedBranch& branch) {
    return 1 / (kTwoPi * std::sqrt(branch.inductance_h * branch.capacitance_f));
}

Complex tank_admittance(const LumpedTank& tank, double frequency_hz) {
    const Complex s = jw(frequency_hz);
    return 1.0 / (tank.resistance_ohm + s * tank.inductance_h) + s * tank.capacitance_f;
}

// Bisection of an odd-signed continuous function to the last bits; the bracket is known to hold one sign change.
template <typename Function>
double bisect(Function function, double low, double high) {
    const bool low_negative = function(low) < 0;
    while (high - low > 1e-13 * low) {
        const double middle = 0.5 * (low + high);
        if (middle <= low || middle >= high) break;
        ((function(middle) < 0) == low_negative ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

}  // namespace

bool needs_coil(Hookup hookup) {
    return hookup == Hookup::foot || hookup == Hookup::winding || hookup == Hookup::pickup;
}

bool needs_coil(const Bench& bench, Hookup hookup) {
    return needs_coil(hookup) || (hookup == Hookup::tank && bench.primary_circuit == PrimaryCircuit::closed);
}

// --- the coil

Complex BenchCoil::first_winding_ohm(double frequency_hz) const {
    const Complex own = winding_ohm(lumped_.branches.front(), frequency_hz);
    if (mutual_h_ == 0) return own;
    const Complex mutual = jw(frequency_hz) * mutual_h_;
    return own - mutual * mutual / loop_ohm(loop_, frequency_hz);
}

Complex BenchCoil::foot_admittance(double frequency_hz) const {
    if (pair_) return pair_->foot_admittance(frequency_hz);
    if (model_) return model_->foot_admittance(frequency_hz, scale_);
    const Complex s = jw(frequency_hz);
    Complex sum =
        s * lumped_.stray_f + behind(first_winding_ohm(frequency_hz), s * lumped_.branches.front().capacitance_f);
    for (std::size_t i = 1; i < lumped_.branches.size(); ++i)
        sum += branch_admittance(lumped_.branches[i], frequency_hz);
    return sum;
}

Complex BenchCoil::winding_admittance(double frequency_hz) const {
    if (pair_) return 1.0 / pair_->winding_impedance(frequency_hz);
    if (model_) return 1.0 / model_->winding_impedance(frequency_hz, scale_);
    return two_port(frequency_hz).foot_foot;
}

Complex BenchCoil::head_per_foot(double frequency_hz) const {
    if (pair_) return pair_->head_volts_per_volt(frequency_hz);
    if (model_) return model_->head_volts_per_volt(frequency_hz, scale_);
    return 1.0 / (1.0 + jw(frequency_hz) * lumped_.branches.front().capacitance_f * first_winding_ohm(frequency_hz));
}

std::optional<Complex> BenchCoil::tank_impedance(double frequency_hz) const {
    if (pair_) return pair_->tank_impedance(frequency_hz);
    if (mutual_h_ == 0) return std::nullopt;
    // The foot on the return: the first branch is a loop of its own.
    const Complex s = jw(frequency_hz);
    const LumpedBranch& branch = lumped_.branches.front();
    const Complex secondary = winding_ohm(branch, frequency_hz) + 1.0 / (s * branch.capacitance_f);
    const Complex primary =
        loop_.resistance_ohm + s * loop_.inductance_h - (s * mutual_h_) * (s * mutual_h_) / secondary;
    return 1.0 / (1.0 / primary + s * loop_.capacitance_f.value_or(0));
}

TwoPort BenchCoil::two_port(double frequency_hz) const {
    const Complex s = jw(frequency_hz);
    if (model_) {
        // From the three things the model tells: with the head tied I1 = y11 V1; with it free V2 = -y21/y22 V1 and
        // I1 = (y11 - y12 y21/y22) V1; reciprocity gives the rest.
        const Complex tied = winding_admittance(frequency_hz);
        const Complex gain = head_per_foot(frequency_hz);
        const Complex transfer = (foot_admittance(frequency_hz) - tied) / gain;
        return {tied, transfer, -transfer / gain};
    }
    const LumpedBranch& first = lumped_.branches.front();
    const Complex winding = 1.0 / first_winding_ohm(frequency_hz);
    Complex foot = winding + s * lumped_.stray_f;
    for (std::size_t i = 1; i < lumped_.branches.size(); ++i)
        foot += branch_admittance(lumped_.branches[i], frequency_hz);
    return {foot, -winding, winding + s * first.capacitance_f};
}

double BenchCoil::foot_resistance_ohm(double frequency_hz) const {
    if (foot_resistance_ohm_ <= 0) return 0;
    return foot_resistance_ohm_ * std::pow(frequency_hz / first_resonance_hz_, foot_resistance_exponent_);
}

// First resonance, resistance scale for a stated Q, decay time. The conductance of a series resonance falls to half at
// two frequencies whose distance is exactly f0/Q; scaling the resistance scales 1/Q, so a few steps settle it.
void BenchCoil::settle_derived(std::optional<double> stated_q) {
    if (!model_) {
        first_resonance_hz_ = 1e300;
        decay_time_s_ = 0;
        for (const LumpedBranch& branch : lumped_.branches) {
            first_resonance_hz_ = std::min(first_resonance_hz_, branch_resonance_hz(branch));
            decay_time_s_ = std::max(decay_time_s_, 2 * branch.inductance_h / branch.resistance_ohm);
        }
        return;
    }
    first_resonance_hz_ = model_->modes_hz().front() / std::sqrt(scale_.capacitance * scale_.inductance);
    const auto q_now = [&] {
        const auto alone = [&](double f) { return model_->foot_admittance(f, scale_).real(); };
        const double peak = alone(first_resonance_hz_);
        const auto above_half = [&](double f) { return alone(f) - 0.5 * peak; };
        const double low = bisect(above_half, 0.2 * first_resonance_hz_, first_resonance_hz_);
        const double high = bisect(above_half, first_resonance_hz_, 1.5 * first_resonance_hz_);
        return first_resonance_hz_ / (high - low);
    };
    for (int i = 0; stated_q && i < 5; ++i) scale_.resistance *= q_now() / *stated_q;
    decay_time_s_ = q_now() / (std::numbers::pi * first_resonance_hz_);
}

Status BenchCoil::couple(const Bench& bench, const Eigen::VectorXd& section_mutual_h) {
    loop_ = {bench.tank.inductance_h, bench.tank.resistance_ohm, std::nullopt};
    if (bench.primary_circuit == PrimaryCircuit::closed) {
        loop_.capacitance_f = bench.tank.capacitance_f;
        decay_time_s_ = std::max(decay_time_s_, 2 * bench.tank.inductance_h / bench.tank.resistance_ohm);
    }
    if (!model_) {
        mutual_h_ = bench.coupling * std::sqrt(loop_.inductance_h * lumped_.branches.front().inductance_h);
        return Done{};
    }
    // The primary cannot share more field with the secondary than it has.
    const double shared =
        section_mutual_h.dot(model_->branch_inductance_h().llt().solve(section_mutual_h)) / loop_.inductance_h;
    if (!(shared < 0.9)) {
        return bad_input(fmt::format("tank.inductance is {} H, too little for a primary of this size; leave the tank "
                                     "out to take it from the description",
                                     loop_.inductance_h));
    }
    pair_ = std::make_shared<const model::CoupledPair>(model_, section_mutual_h, loop_, scale_);
    return Done{};
}

Result<std::shared_ptr<const BenchCoil>> BenchCoil::build(const Bench& bench) {
    if (const Status checked = check_bench(bench); !checked) return checked.error();
    std::shared_ptr<BenchCoil> coil(new BenchCoil);
    coil->foot_resistance_ohm_ = bench.foot_resistance_ohm;
    coil->foot_resistance_exponent_ = bench.foot_resistance_exponent;
    std::optional<double> stated_q;
    Eigen::VectorXd mutual_h;
    if (const auto* lumped = std::get_if<LumpedCoil>(&bench.coil)) {
        coil->lumped_ = *lumped;
        coil->lumped_.branches.front().capacitance_f += bench.loading_f;
    } else {
        const CoilOnBench& on_bench = std::get<CoilOnBench>(bench.coil);
        const CoilOnBench::Deviation& deviation = on_bench.deviation;
        model::CoilDescription description = on_bench.description;
        description.secondary.diameter_m *= deviation.diameter;
        description.secondary.length_m *= deviation.length;
        description.secondary.turns *= deviation.turns;
        for (model::TopLoadBody& body : description.topload) {
            if (auto* toroid = std::get_if<model::Toroid>(&body)) {
                toroid->outer_diameter_m *= deviation.topload;
                toroid->tube_diameter_m *= deviation.topload;
            } else if (auto* sphere = std::get_if<model::Sphere>(&body)) {
                sphere->diameter_m *= deviation.topload;
            } else {
                std::get<model::Disc>(body).diameter_m *= deviation.topload;
            }
        }
        model::ModelOptions options;
        options.sections = on_bench.sections;
        Result<model::SecondaryModel> built = model::SecondaryModel::build(description, options);
        if (!built) return built.error();
        if (bench.loading_f > 0) built = built->with_head_capacitance(bench.loading_f / deviation.capacitance);
        coil->model_ = std::make_shared<const model::SecondaryModel>(std::move(built).value());
        coil->scale_ = {deviation.capacitance, deviation.inductance, deviation.resistance};
        stated_q = on_bench.q;
        if (bench.primary_circuit != PrimaryCircuit::open) {
            const double whole = description.primary->turns;
            const double tap = description.tank ? description.tank->tap_turns.value_or(whole) : whole;
            mutual_h = model::primary_section_mutual_h(*description.primary, tap, description.secondary,
                                                       coil->model_->sections());
        }
    }
    coil->settle_derived(stated_q);
    if (bench.primary_circuit != PrimaryCircuit::open) {
        if (const Status coupled = coil->couple(bench, mutual_h); !coupled) return coupled.error();
    }
    return std::shared_ptr<const BenchCoil>(std::move(coil));
}

std::shared_ptr<const BenchCoil> BenchCoil::with_head_capacitance(double added_f) const {
    std::shared_ptr<BenchCoil> changed(new BenchCoil(*this));
    if (model_) {
        // The model's capacitances are scaled afterwards; what is added is not to be.
        changed->model_ =
            std::make_shared<const model::SecondaryModel>(model_->with_head_capacitance(added_f / scale_.capacitance));
    } else {
        changed->lumped_.branches.front().capacitance_f += added_f;
    }
    changed->settle_derived(std::nullopt);
    if (changed->pair_) {
        changed->pair_ = std::make_shared<const model::CoupledPair>(changed->pair_->with_secondary(changed->model_));
    }
    if (loop_.capacitance_f) {
        changed->decay_time_s_ = std::max(changed->decay_time_s_, 2 * loop_.inductance_h / loop_.resistance_ohm);
    }
    return changed;
}

// --- the circuit

Result<BenchCircuit> BenchCircuit::build(const Bench& bench, Hookup hookup, std::shared_ptr<const BenchCoil> coil) {
    if (const Status checked = check_bench(bench); !checked) return checked.error();
    if (needs_coil(bench, hookup) && !coil) {
        return bad_input("This hookup has the coil in it: describe it under \"coil\" or \"circuit\".");
    }
    BenchCircuit circuit;
    circuit.wiring_ = bench.wiring;
    circuit.tank_ = bench.tank;
    circuit.hookup_ = hookup;
    if (needs_coil(bench, hookup)) circuit.coil_ = std::move(coil);
    return circuit;
}

Result<BenchCircuit> BenchCircuit::build(const Bench& bench, Hookup hookup) {
    if (!needs_coil(bench, hookup)) return build(bench, hookup, nullptr);
    Result<std::shared_ptr<const BenchCoil>> coil = BenchCoil::build(bench);
    if (!coil) return coil.error();
    return build(bench, hookup, *coil);
}

std::optional<Complex> BenchCircuit::device_admittance(double frequency_hz) const {
    const double f = std::max(frequency_hz, kLowestHz);
    switch (hookup_) {
        case Hookup::foot:
            return behind(coil_->foot_resistance_ohm(f), coil_->foot_admittance(f));
        case Hookup::winding:
            return behind(coil_->foot_resistance_ohm(f), coil_->winding_admittance(f));
        case Hookup::pickup: {
            // As loaded by the wire.
            const Complex input = input_admittance(wiring_.coil_input, f);
            const TwoPort y = coil_->two_port(f);
            const Complex load = behind(1.0 / input, jw(f) * wiring_.pickup_f);
            return behind(coil_->foot_resistance_ohm(f),
                          y.foot_foot - y.foot_head * y.foot_head / (y.head_head + load));
        }
        case Hookup::tank:
            return coil_ ? 1.0 / coil_->tank_impedance(f).value() : tank_admittance(tank_, f);
        case Hookup::open:
            return Complex(0);
        case Hookup::load:
            return Complex(1 / wiring_.load_ohm);
        case Hookup::short_circuit:
        case Hookup::loopback:
            break;
    }
    return std::nullopt;
}

std::optional<double> BenchCircuit::zero_reactance_hz(double low_hz, double high_hz) const {
    // Through the susceptance: it has the zeros of the reactance and no poles near them.
    if (!device_admittance(low_hz)) return std::nullopt;
    const auto susceptance = [&](double f) { return device_admittance(f)->imag(); };
    if ((susceptance(low_hz) < 0) == (susceptance(high_hz) < 0)) return std::nullopt;
    return bisect(susceptance, low_hz, high_hz);
}

double BenchCircuit::decay_time_s() const {
    if (coil_) return coil_->decay_time_s();
    if (hookup_ == Hookup::tank) return 2 * tank_.inductance_h / tank_.resistance_ohm;
    return 0;
}

NodeVoltages BenchCircuit::solve(double frequency_hz, bool with_head) const {
    const double f = std::max(frequency_hz, kLowestHz);
    const Complex s = jw(f);
    const std::size_t ground = NodalSystem::kGround;
    NodalSystem net;
    const Complex input_1 = input_admittance(wiring_.generator_input, f);
    const Complex input_2 = input_admittance(wiring_.coil_input, f);

    const std::size_t generator = net.node();
    net.inject(generator, 1 / wiring_.source_ohm);
    net.connect(generator, ground, 1 / wiring_.source_ohm + input_1);
    std::size_t coil = generator;
    std::size_t head = ground;
    std::size_t junction = ground;
    std::size_t common = ground;
    Complex head_per_junction = 0;

    if (hookup_ == Hookup::loopback) {
        net.connect(generator, ground, input_2);
    } else {
        junction = net.node();
        net.connect(generator, junction, 1 / wiring_.reference_ohm + s * wiring_.reference_shunt_f);
        if (wiring_.missing_return_f) {
            common = net.node();
            net.connect(common, ground, s * *wiring_.missing_return_f);
        }
        const Complex lead = wiring_.lead_ohm + s * wiring_.lead_h;
        if (hookup_ == Hookup::pickup) {
            std::size_t foot = junction;
            const Complex series = lead + coil_->foot_resistance_ohm(f);
            if (series != 0.0) {
                foot = net.node();
                net.connect(junction, foot, 1.0 / series);
            }
            head = net.node();
            const TwoPort y = coil_->two_port(f);
            net.connect(foot, head, common, y.foot_foot, y.foot_head, y.head_head);
            coil = net.node();
            net.connect(head, coil, s * wiring_.pickup_f);
            net.connect(coil, ground, input_2);
        } else {
            coil = junction;
            net.connect(junction, ground, input_2);
            if (hookup_ == Hookup::short_circuit) {
                // A short of no impedance at all at the end of a lead of none is a picoohm.
                net.connect(junction, common, lead == 0.0 ? Complex(1e12) : 1.0 / lead);
            } else {
                const Complex device = *device_admittance(f);
                net.connect(junction, common, behind(lead, device));
                if (hookup_ == Hookup::foot && with_head) {
                    // Divider of lead and foot resistance against the coil, then the coil's own step-up.
                    const Complex in_series = lead + coil_->foot_resistance_ohm(f);
                    head_per_junction = coil_->head_per_foot(f) / (1.0 + in_series * coil_->foot_admittance(f));
                }
            }
        }
    }
    const auto voltage = net.solve();
    NodeVoltages result{voltage[generator], voltage[coil], 0};
    if (hookup_ == Hookup::pickup) {
        result.head = voltage[head];
    } else if (hookup_ == Hookup::foot) {
        result.head = voltage[common] + head_per_junction * (voltage[junction] - voltage[common]);
    }
    if (frequency_hz <= 0) {
        result = {result.generator.real(), result.coil.real(), result.head.real()};
    }
    return result;
}

}  // namespace coldtune::bench
