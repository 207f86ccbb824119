// Exported netlists in ngspice, exactly as they are written: the same resonance and Q as the measurement they come
// from. ngspice is installed by ./tests/run; a machine without it fails here.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <nlohmann/json.hpp>
#include <numbers>
#include <sstream>
#include <string>
#include <vector>

#include "analyzer/measure/kept_result.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/share/equivalent.hpp"
#include "analyzer/share/spice.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::share {
namespace {

using Complex = std::complex<double>;

struct Spectrum {
    std::vector<double> frequency_hz;
    std::vector<Complex> admittance;
};

// The deck's own .ac and .print, read from what ngspice prints: seven digits of frequency, six of current.
Spectrum run_in_ngspice(const std::string& deck) {
    const testing::ScratchFolder folder;
    const auto outcome =
        testing::run({"ngspice", "-b", folder.put("deck.cir", deck).string()}, std::chrono::seconds(60));
    Spectrum found;
    std::istringstream lines(outcome.output);
    for (std::string line; std::getline(lines, line);) {
        for (char& c : line) c = c == ',' ? ' ' : c;
        std::istringstream words(line);
        std::size_t index = 0;
        double f = 0, re = 0, im = 0;
        if (words >> index >> f >> re >> im && index == found.frequency_hz.size()) {
            found.frequency_hz.push_back(f);
            found.admittance.emplace_back(-re, -im);  // the source delivers
        }
    }
    EXPECT_EQ(found.frequency_hz.size(), 2001U) << outcome.output.substr(0, 2000) << outcome.errors;
    return found;
}

// Where a quantity passes `level`, falling (or rising), between two points.
template <class Quantity>
std::vector<double> crossings(const Spectrum& s, Quantity quantity, double level) {
    std::vector<double> at;
    for (std::size_t k = 1; k < s.frequency_hz.size(); ++k) {
        const double a = quantity(s.admittance[k - 1]) - level, b = quantity(s.admittance[k]) - level;
        if ((a < 0) == (b < 0)) continue;
        at.push_back(s.frequency_hz[k - 1] + a / (a - b) * (s.frequency_hz[k] - s.frequency_hz[k - 1]));
    }
    return at;
}

// Measured, written as JSON, read back: what `coldtune export` starts from.
measure::MeasurementResult measured(const bench::Bench& bench, bench::Hookup hookup) {
    test::SweepShape shape;
    shape.period = 64000;
    shape.periods = 4;
    auto request = test::request_for(bench, test::capture(bench, hookup, shape), hookup);
    test::add_standards(request, bench, shape);
    const auto result = measure::analyze(request);
    EXPECT_TRUE(result.ok()) << result.error().message;
    const auto json = nlohmann::ordered_json::parse(measure::to_json(*result, true).dump());
    auto kept = measure::result_from_json(json, "test");
    EXPECT_TRUE(kept.ok()) << kept.error().message;
    return std::move(*kept);
}

double zero_near(const Spectrum& s, double expected_hz) {
    double best = 0;
    for (double f : crossings(
             s, [](Complex y) { return y.imag(); }, 0)) {
        if (std::abs(f - expected_hz) < std::abs(best - expected_hz)) best = f;
    }
    return best;
}

class FootNetlist : public ::testing::TestWithParam<double> {};

TEST_P(FootNetlist, HasTheMeasuredResonanceAndQ) {
    bench::Bench bench;
    bench.coil = test::series_coil(62e3, GetParam(), 60e-3, 12e-12);
    const auto result = measured(bench, bench::Hookup::foot);
    const measure::Resonance* r = result.resonance();
    ASSERT_NE(r, nullptr);
    ASSERT_TRUE(r->q);
    const auto circuit = equivalent_of(result);
    ASSERT_TRUE(circuit.ok()) << circuit.error().message;
    const auto& foot = std::get<FootCircuit>(circuit->circuit);
    // The bench's own 12 pF, read from the curve beside the resonance: weakest at high Q, where the window is narrow.
    EXPECT_NEAR(foot.beside_f, 12e-12, 3e-12);
    const Spectrum s = run_in_ngspice(spice_text(*circuit, {}));
    // 50 ppm: the stated agreement.
    EXPECT_NEAR(zero_near(s, r->frequency_hz) / r->frequency_hz, 1, 50e-6);
    EXPECT_NEAR(zero_reactance_hz(foot) / r->frequency_hz, 1, 1e-9);
    // Half the greatest conductance: exactly f0/Q apart for R, L and C in series; what lies beside has no conductance.
    double greatest = 0;
    for (const Complex& y : s.admittance) greatest = std::max(greatest, y.real());
    const auto half = crossings(
        s, [](Complex y) { return y.real(); }, greatest / 2);
    ASSERT_EQ(half.size(), 2U);
    // 1e-3: six printed digits and the straight lines between 2001 points.
    EXPECT_NEAR(std::sqrt(half[0] * half[1]) / (half[1] - half[0]) / *r->q, 1, 1e-3);
    // And the whole curve is that of the measurement, off the resonance too.
    for (std::size_t k = 0; k < s.frequency_hz.size(); k += 50) {
        const auto above =
            std::lower_bound(result.curve.frequency_hz.begin(), result.curve.frequency_hz.end(), s.frequency_hz[k]) -
            result.curve.frequency_hz.begin();
        const auto i = static_cast<std::size_t>(above);
        if (i == 0 || i >= result.curve.frequency_hz.size()) continue;
        const double t = (s.frequency_hz[k] - result.curve.frequency_hz[i - 1]) /
                         (result.curve.frequency_hz[i] - result.curve.frequency_hz[i - 1]);
        const Complex y = (1 - t) / result.curve.impedance_ohm[i - 1] + t / result.curve.impedance_ohm[i];
        // 1 %: noise of one bin of a short sweep, and the capacitance beside at the edges.
        EXPECT_LT(std::abs(s.admittance[k] - y) / std::abs(y), 0.01) << s.frequency_hz[k];
    }
}

INSTANTIATE_TEST_SUITE_P(Exported, FootNetlist, ::testing::Values(12.0, 300.0));

TEST(TankNetlist, HasTheMeasuredResonanceAndQ) {
    bench::Bench bench;
    bench.coil = test::series_coil(120e3, 150, 60e-3, 8e-12);
    bench.tank.inductance_h = 60e-6;
    bench.tank.resistance_ohm = 1.5;
    bench.tank.capacitance_f = 220e-9;
    const auto result = measured(bench, bench::Hookup::tank);
    const measure::Resonance* r = result.resonance();
    ASSERT_NE(r, nullptr);
    auto circuit = equivalent_of(result);
    ASSERT_TRUE(circuit.ok()) << circuit.error().message;
    auto& tank = std::get<TankCircuit>(circuit->circuit);
    // The leads' share removed, so that the port sees the tank alone.
    const TankCircuit whole = tank;
    tank.lead_inductance_h = tank.lead_resistance_ohm = 0;
    const Spectrum s = run_in_ngspice(spice_text(*circuit, {}));
    // L with r in series across C has its zero of reactance at f0 sqrt(1 - 1/Q^2), exactly.
    const double q = *r->q;
    const double expected = r->frequency_hz * std::sqrt(1 - 1 / (q * q));
    EXPECT_NEAR(zero_near(s, expected) / expected, 1, 50e-6);
    // Parts of the simulated tank; 1 %: its standards were measured, its losses are the tank's and the leads'.
    EXPECT_NEAR(whole.inductance_h / 60e-6, 1, 0.01);
    EXPECT_NEAR(whole.capacitance_f / 220e-9, 1, 0.01);
    EXPECT_NEAR(whole.resistance_ohm / 1.5, 1, 0.02);
}

TEST(WindingNetlist, IsTheInductanceThatWasMeasured) {
    measure::MeasurementResult result;
    result.hookup = bench::Hookup::winding;
    measure::WindingValue w;
    w.inductance_h = 61.3e-3;
    w.resistance_ohm = 84;
    w.own_capacitance_f = 9e-12;
    w.window = {1e3, 40e3};
    result.outcome = measure::Accepted{.resonance = {}, .winding = w, .coupling = {}};
    const auto circuit = equivalent_of(result);
    ASSERT_TRUE(circuit.ok());
    const Spectrum s = run_in_ngspice(spice_text(*circuit, {}));
    for (std::size_t k = 0; k < s.frequency_hz.size(); k += 100) {
        const double omega = 2 * std::numbers::pi * s.frequency_hz[k];
        const Complex expected = 1.0 / Complex(84, omega * 61.3e-3) + Complex(0, omega * 9e-12);
        EXPECT_LT(std::abs(s.admittance[k] - expected) / std::abs(expected), 1e-5);  // six printed digits
    }
}

// Above the band only the curve below the resonance is known; here it is the distributed model's own.
TEST(BelowBandNetlist, FollowsTheCurveUpToTheMeasuredResonance) {
    const auto model =
        model::SecondaryModel::build(test::example_coil({model::Toroid{0.4, 0.1, 0.08}}), {.sections = 40});
    ASSERT_TRUE(model.ok());
    const double first = model->modes_hz()[0];
    measure::MeasurementResult result;
    for (int k = 0; k < 300; ++k) {
        const double f = 1e3 + k * (0.7 * first - 1e3) / 299;
        result.curve.frequency_hz.push_back(f);
        result.curve.impedance_ohm.push_back(1.0 / model->foot_admittance(f));
        result.curve.standard_deviation_ohm.push_back(1e-5 * std::abs(result.curve.impedance_ohm.back()));
    }
    measure::Resonance r;
    r.way = measure::Way::below_band;
    r.frequency_hz = first;
    result.outcome = measure::Accepted{.resonance = r, .winding = {}, .coupling = {}};
    EXPECT_FALSE(equivalent_of(result).ok());  // neither a measured nor a calculated Q
    result.calculated = model::Calculated{};
    result.calculated->q = 200;
    auto circuit = equivalent_of(result);
    ASSERT_TRUE(circuit.ok()) << circuit.error().message;
    circuit->low_hz = 0.1 * first;
    circuit->high_hz = 1.1 * first;
    const Spectrum s = run_in_ngspice(spice_text(*circuit, {}));
    EXPECT_NEAR(zero_near(s, first) / first, 1, 50e-6);  // the stated agreement
    for (std::size_t k = 0; k < s.frequency_hz.size(); k += 20) {
        const double f = s.frequency_hz[k];
        if (f > 0.97 * first) break;
        // 1 %: of the higher modes only their capacitance is kept.
        EXPECT_NEAR(s.admittance[k].imag() / model->foot_admittance(f).imag(), 1, 0.01) << f / first;
    }
}

TEST(Netlist, NothingIsMadeOfWhatHasNoResonance) {
    measure::MeasurementResult result;
    result.findings.push_back({measure::FindingCode::clipped, measure::Weight::reject, "clipped"});
    result.outcome = measure::Rejected{};
    const auto refused = equivalent_of(result);
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    result = {};
    result.hookup = bench::Hookup::open;
    result.outcome = measure::Accepted{};
    EXPECT_EQ(equivalent_of(result).error().kind, ErrorKind::bad_input);
}

}  // namespace
}  // namespace coldtune::share
