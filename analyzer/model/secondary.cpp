#include "analyzer/model/secondary.hpp"

#include <algorithm>
#include <cmath>
#include <mutex>
#include <numbers>
#include <utility>

#include "analyzer/model/coil_conductors.hpp"
#include "analyzer/model/inductance.hpp"
#include "analyzer/model/secondary_modes.hpp"
#include "analyzer/model/wire.hpp"

namespace coldtune::model {
namespace {

constexpr std::size_t kFewestSections = 12;
constexpr std::size_t kMostSections = 192;

// What does not change when a capacitance is added at the head.
struct Frame {
    explicit Frame(const Winding& winding) : loss(winding) {}

    WindingLoss loss;
    Eigen::MatrixXd inductance_h;
    Eigen::MatrixXd bare_capacitance_f;  // before any capacitance was added
    Eigen::VectorXd topload_charge_f;    // per volt on each node
    std::once_flag returned_once;
    ModalCircuit returned;  // head tied to the return, made when first asked for
};

}  // namespace

struct SecondaryModel::State {
    std::shared_ptr<Frame> frame;
    double added_f = 0;
    Eigen::MatrixXd capacitance_f;
    ModalCircuit open;
    std::vector<double> modes_hz;

    void name_modes() {
        modes_hz.clear();
        for (const double squared : open.omega_squared) {
            modes_hz.push_back(std::sqrt(squared) / (2.0 * std::numbers::pi));
        }
    }
};

namespace {

// A section holds at least one turn.
std::size_t allowed_sections(const CoilDescription& coil, std::size_t wanted) {
    const auto turns = static_cast<std::size_t>(std::max(1.0, std::floor(coil.secondary.turns)));
    return std::clamp<std::size_t>(wanted, 1, turns);
}

std::shared_ptr<Frame> make_frame(const CoilDescription& coil, std::size_t sections) {
    auto frame = std::make_shared<Frame>(coil.secondary);
    frame->inductance_h = section_inductance_h(coil.secondary, sections);
    MaxwellSolution charges = solve_maxwell(coil_conductors(coil, sections));
    frame->bare_capacitance_f = std::move(charges.capacitance_f);
    frame->topload_charge_f = std::move(charges.counted_charge_f);
    return frame;
}

}  // namespace

Result<SecondaryModel> SecondaryModel::build(const CoilDescription& coil, const ModelOptions& options) {
    const Status checked = check_geometry(coil);
    if (!checked) return checked.error();
    const auto solve = [&](std::size_t sections) {
        auto state = std::make_unique<State>();
        state->frame = make_frame(coil, sections);
        state->capacitance_f = state->frame->bare_capacitance_f;
        state->open = solve_modes(state->frame->inductance_h, state->capacitance_f, Head::open);
        state->name_modes();
        return state;
    };
    if (options.sections) return SecondaryModel(solve(allowed_sections(coil, *options.sections)));
    // Doubling until the first mode stands still. The error falls as the square of the section, so the finer of the two
    // compared solutions is better than the difference by a factor of three.
    std::size_t sections = allowed_sections(coil, kFewestSections);
    auto state = solve(sections);
    for (;;) {
        const std::size_t finer_sections = allowed_sections(coil, 2 * sections);
        if (finer_sections == sections || finer_sections > kMostSections) break;
        auto finer = solve(finer_sections);
        const double change = std::abs(finer->modes_hz.front() / state->modes_hz.front() - 1.0);
        state = std::move(finer);
        sections = finer_sections;
        if (change < options.convergence) break;
    }
    return SecondaryModel(std::move(state));
}

SecondaryModel::SecondaryModel(std::unique_ptr<State> state) : state_(std::move(state)) {}
SecondaryModel::SecondaryModel(SecondaryModel&&) noexcept = default;
SecondaryModel& SecondaryModel::operator=(SecondaryModel&&) noexcept = default;
SecondaryModel::~SecondaryModel() = default;

std::size_t SecondaryModel::sections() const {
    return static_cast<std::size_t>(state_->frame->inductance_h.rows());
}

std::span<const double> SecondaryModel::modes_hz() const {
    return state_->modes_hz;
}

const Eigen::MatrixXd& SecondaryModel::branch_inductance_h() const {
    return state_->frame->inductance_h;
}

const Eigen::MatrixXd& SecondaryModel::node_capacitance_f() const {
    return state_->capacitance_f;
}

double SecondaryModel::branch_resistance_ohm(double frequency_hz) const {
    return state_->frame->loss.ac_resistance_ohm(frequency_hz) / static_cast<double>(sections());
}

Profile SecondaryModel::profile(std::size_t mode) const {
    const auto index = static_cast<Eigen::Index>(mode);
    const Eigen::Index branches = state_->frame->inductance_h.rows();
    const Eigen::VectorXd voltage = mode_voltage(state_->open, state_->frame->inductance_h, index);
    const auto branch = state_->open.current.col(index);
    const double omega = std::sqrt(state_->open.omega_squared(index));
    const double head = voltage(branches);
    // What flows out of the end of the winding charges the top load and anything added there. Between sections: the
    // mean.
    const double head_current = omega * (state_->frame->topload_charge_f.dot(voltage) + state_->added_f * head);
    const double foot_current = state_->open.foot(index);
    Profile profile;
    for (Eigen::Index node = 0; node <= branches; ++node) {
        profile.position.push_back(static_cast<double>(node) / static_cast<double>(branches));
        profile.voltage.push_back(voltage(node) / head);
        double current = 0;
        if (node == 0) {
            current = foot_current;
        } else if (node == branches) {
            current = head_current;
        } else {
            current = 0.5 * (branch(node - 1) + branch(node));
        }
        profile.current.push_back(current / foot_current);
    }
    return profile;
}

ModeEquivalent SecondaryModel::equivalent(std::size_t mode) const {
    // Modes carry x^T L x = 1, so twice the magnetic energy over the foot current squared is 1/foot^2.
    const auto index = static_cast<Eigen::Index>(mode);
    const double foot_squared = state_->open.foot(index) * state_->open.foot(index);
    const double omega = std::sqrt(state_->open.omega_squared(index));
    ModeEquivalent result;
    result.frequency_hz = state_->modes_hz[mode];
    result.inductance_h = 1.0 / foot_squared;
    result.capacitance_f = foot_squared / state_->open.omega_squared(index);
    result.resistance_ohm =
        branch_resistance_ohm(result.frequency_hz) * state_->open.overlap(index, index) / foot_squared;
    result.q = omega * result.inductance_h / result.resistance_ohm;
    return result;
}

namespace {

Drive drive_at(const SecondaryModel& model, double frequency_hz, const ModelScale& scale) {
    // Free of loss nothing is asked of the wire: its Bessel functions cost more than the sum over the modes.
    const double resistance =
        scale.resistance == 0 ? 0.0 : scale.resistance * model.branch_resistance_ohm(frequency_hz);
    return {2.0 * std::numbers::pi * frequency_hz, resistance, scale.capacitance, scale.inductance};
}

}  // namespace

std::complex<double> SecondaryModel::foot_admittance(double frequency_hz, const ModelScale& scale) const {
    return drive(state_->open, drive_at(*this, frequency_hz, scale)).foot_admittance;
}

FootSlopes SecondaryModel::foot_slopes(double frequency_hz, const ModelScale& scale) const {
    return model::foot_slopes(state_->open, drive_at(*this, frequency_hz, scale));
}

std::complex<double> SecondaryModel::head_volts_per_volt(double frequency_hz, const ModelScale& scale) const {
    return drive(state_->open, drive_at(*this, frequency_hz, scale)).head_ratio;
}

std::complex<double> SecondaryModel::winding_impedance(double frequency_hz, const ModelScale& scale) const {
    Frame& frame = *state_->frame;
    std::call_once(frame.returned_once,
                   [&] { frame.returned = solve_modes(frame.inductance_h, frame.bare_capacitance_f, Head::returned); });
    return 1.0 / drive(frame.returned, drive_at(*this, frequency_hz, scale)).foot_admittance;
}

SecondaryModel SecondaryModel::with_head_capacitance(double added_f) const {
    auto state = std::make_unique<State>();
    state->frame = state_->frame;
    state->added_f = state_->added_f + added_f;
    state->capacitance_f = state_->capacitance_f;
    const Eigen::Index head = state->capacitance_f.rows() - 1;
    state->capacitance_f(head, head) += added_f;
    state->open = add_head_capacitance(state_->open, added_f);
    state->name_modes();
    return SecondaryModel(std::move(state));
}

}  // namespace coldtune::model
