// Prints the problem of below_band_problem.hpp and what find_below_band makes of it, for tests/bench/side_by_side. The
// priors are those find_below_band gives itself when an open standard and no load standard was used; should they part,
// the script's result does too, and it fails.
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <variant>

#include "analyzer/measure/below_band_curve.hpp"
#include "analyzer/measure/declared_values.hpp"
#include "tests/bench/below_band_problem.hpp"
#include "tests/bench/figures.hpp"

namespace coldtune::figures {
namespace {

using Json = nlohmann::json;

constexpr double kStrayAfterOpen_f = 1e-12;

Json rows_of(const Eigen::MatrixXd& matrix) {
    Json rows = Json::array();
    for (Eigen::Index i = 0; i < matrix.rows(); ++i) {
        const Eigen::VectorXd row = matrix.row(i);
        rows.emplace_back(std::vector<double>(row.begin(), row.end()));
    }
    return rows;
}

Json data_of(const dsp::CorrectedResponse& data) {
    Json real = Json::array(), imaginary = Json::array();
    for (const auto& z : data.impedance) {
        real.push_back(z.real());
        imaginary.push_back(z.imag());
    }
    return {{"frequency_hz", data.frequency_hz},
            {"impedance_real_ohm", std::move(real)},
            {"impedance_imaginary_ohm", std::move(imaginary)},
            {"impedance_variance_ohm2", data.impedance_variance}};
}

Json priors_of(const test::BelowBandProblem& problem) {
    using namespace measure::below;
    return {{"capacitance", problem.family.capacitance_prior()},
            {"inductance", problem.family.inductance_prior()},
            {"log_scale", kLogScale},
            {"loss", kLossPrior},
            {"loss_slope", kLossSlopePrior},
            {"loss_tangent", kLossTangentPrior},
            {"stray_f", kStrayAfterOpen_f},
            {"edge_powers", kEdgePowers},
            {"edge_gain", kEdgeDeclared},
            {"edge_phases", kEdgePhasePowers.size()},  // taken out by the open standard: priors alone
            {"reference_tau_s", problem.values.reference_ohm * measure::kReferenceOwn_f / std::sqrt(3.0)},
            {"clock_ppm", problem.tolerances.clock_ppm}};
}

// The matrices, from which the script solves its modes itself. Copper's resistance as a table up to where the resonance
// may lie.
Json family_of(const measure::ShapeFamily& family, const dsp::Band& band) {
    Json members = Json::array();
    for (std::size_t k = 0; k <= family.names().size(); ++k) {
        const model::SecondaryModel& member = family.member(k);
        members.push_back({{"inductance_h", rows_of(member.branch_inductance_h())},
                           {"capacitance_f", rows_of(member.node_capacitance_f())}});
    }
    Json frequency = Json::array(), resistance = Json::array();
    const double highest = measure::kBelowBandReach * band.high_hz;
    for (double f = 0.9 * band.low_hz; f < highest; f *= 1.01) {
        frequency.push_back(f);
        resistance.push_back(family.member(0).branch_resistance_ohm(f));
    }
    return {{"names", family.names()},
            {"members", std::move(members)},
            {"resistance_frequency_hz", std::move(frequency)},
            {"branch_resistance_ohm", std::move(resistance)}};
}

}  // namespace

void print_below_band_problem() {
    const test::BelowBandProblem problem = test::below_band_problem();
    const auto outcome = problem.outcome();
    const auto* fit = std::get_if<measure::BelowBandFit>(&outcome);
    if (fit == nullptr) throw std::runtime_error(std::get<measure::BelowBandRefusal>(outcome).sentence);
    const measure::Resonance& r = fit->resonance;
    Json curve = Json::array();
    for (const auto& z : fit->fitted.impedance_ohm) curve.push_back(std::abs(z));
    const Json all{{"data", data_of(problem.corrected)},
                   {"band_hz", {problem.band.low_hz, problem.band.high_hz}},
                   {"priors", priors_of(problem)},
                   {"family", family_of(problem.family, problem.band)},
                   {"found",
                    {{"frequency_hz", r.frequency_hz},
                     {"frequency_u95_hz", r.frequency_u95_hz},
                     {"chi_square", r.chi_square},
                     {"degrees_of_freedom", r.degrees_of_freedom},
                     {"static_capacitance_f", fit->static_capacitance_f},
                     {"curve_magnitude_ohm", std::move(curve)}}}};
    std::puts(all.dump().c_str());
}

}  // namespace coldtune::figures
