// Secondary and tank measured together on random benches: full matrices of 40 sections, primary filaments, noise,
// standards. Truth by another route than the fit: the tank's own 1/(2 pi sqrt(L C)), the secondary's nodal eigenproblem
// with the tank absent, and k by its definition from that mode's current (tests/support/true_pair.hpp).
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/measure/pair.hpp"
#include "analyzer/measure/pair_parting.hpp"
#include "analyzer/model/primary.hpp"
#include "tests/support/example_pair.hpp"
#include "tests/support/true_pair.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune {
namespace {

using bench::Hookup;
using measure::Pair;

constexpr std::size_t kSections = 40;

// -100 dBFS of noise against a sweep of -6 dBFS, five periods of 131072: 1.3e-5 of the generator side in each bin (as
// in winding_test). Every sixteenth bin with a quarter of it carries the same information; rounding to 24 bits is 44 dB
// below.
constexpr int kStride = 16;
constexpr double kSigma = 1.3e-5 / 4;

dsp::Response response_of(const bench::BenchCircuit& circuit, double about_hz, double gain, std::mt19937_64& random) {
    std::normal_distribution<double> normal;
    dsp::Response response;
    response.sample_rate_hz = 384000;
    for (double f = 0.7 * about_hz; f < 1.45 * about_hz; f += kStride * 384000.0 / 262144) {
        const auto v = circuit.solve(f);
        const std::complex<double> noise(normal(random), normal(random));
        response.frequency_hz.push_back(f);
        response.ratio.push_back(v.coil / v.generator * gain + kSigma / std::sqrt(2.0) * noise);
        response.variance.push_back(kSigma * kSigma);
    }
    return response;
}

struct Truth {
    double primary_hz = 0, secondary_hz = 0, primary_q = 0, secondary_q = 0, k = 0;
    std::array<double, 2> modes_hz{};
};

struct Drawn {
    bench::Bench bench;
    model::CoilDescription described;  // as it stands but for the deviations; tank as on the bench
    model::CoilDescription taped;      // as somebody measured it
    Truth truth;
    dsp::Response foot;
    dsp::Standards standards;
};

double uniform(std::mt19937_64& random, double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
}

// Flat, upright and sloping primaries around a loaded coil, and around a bare one.
Drawn draw(int number, std::mt19937_64& random) {
    Drawn d;
    bench::CoilOnBench coil;
    coil.description = test::example_pair();
    coil.sections = kSections;
    auto& primary = *coil.description.primary;
    if (number % 4 == 1) {
        primary.angle_deg = 90;
        primary.base_height_m = 0.1;
        primary.pitch_m = 0.012;
    } else if (number % 4 == 2) {
        primary.angle_deg = 30;
        coil.description.topload.clear();
    } else if (number % 4 == 3) {
        primary.inner_diameter_m = 0.32;
    }
    const double tap = uniform(random, 8, 13.5);
    coil.description.tank->tap_turns = tap;
    coil.deviation.capacitance = uniform(random, 0.97, 1.03);
    coil.deviation.inductance = uniform(random, 0.98, 1.02);
    coil.q = uniform(random, 60, 250);

    const auto model = model::SecondaryModel::build(coil.description, {.sections = kSections, .convergence = 1e-3});
    EXPECT_TRUE(model);
    test::TruePair true_pair{test::TrueCoil::from(*model), {}, {}};
    true_pair.coil.capacitance_f *= coil.deviation.capacitance;
    true_pair.coil.inductance_h *= coil.deviation.inductance;
    true_pair.mutual_h = std::sqrt(coil.deviation.inductance) *
                         model::primary_section_mutual_h(primary, tap, coil.description.secondary, kSections);
    d.truth.secondary_hz = true_pair.coil.first_mode_hz();
    d.truth.secondary_q = *coil.q;
    d.truth.primary_hz = d.truth.secondary_hz * uniform(random, 0.9, 1.1);
    d.truth.primary_q = uniform(random, 40, 150);
    bench::LumpedTank tank;
    tank.inductance_h = model::primary_inductance_h(primary, tap) + 0.5e-6;
    const double omega = kTwoPi * d.truth.primary_hz;
    tank.capacitance_f = 1 / (omega * omega * tank.inductance_h);
    tank.resistance_ohm = omega * tank.inductance_h / d.truth.primary_q;
    true_pair.tank = {tank.inductance_h, tank.resistance_ohm, tank.capacitance_f};
    d.truth.k = true_pair.coupling();
    coil.description.tank->capacitance_f = tank.capacitance_f;

    d.bench.coil = coil;
    d.bench.tank = tank;
    d.bench.primary_circuit = bench::PrimaryCircuit::closed;
    d.bench.wiring.reference_ohm = 10e3 * uniform(random, 0.99, 1.01);
    d.bench.wiring.load_ohm = 10e3 * uniform(random, 0.999, 1.001);
    d.bench.wiring.coil_input.gain = uniform(random, 0.98, 1.02);
    d.bench.wiring.coil_input.cable_f = uniform(random, 100e-12, 180e-12);
    d.described = coil.description;
    // A tape and a rule: half a per cent of the winding, 3 mm of height and of the primary's size, 1 % of a top load.
    std::normal_distribution<double> normal;
    d.taped = d.described;
    d.taped.secondary.diameter_m *= 1 + 0.005 * normal(random);
    d.taped.secondary.length_m *= 1 + 0.005 * normal(random);
    d.taped.primary->base_height_m += 0.003 * normal(random);
    d.taped.primary->inner_diameter_m += 0.003 * normal(random);
    for (auto& body : d.taped.topload) std::get<model::Toroid>(body).outer_diameter_m *= 1 + 0.01 * normal(random);

    const auto built = bench::BenchCoil::build(d.bench);
    EXPECT_TRUE(built) << (built ? "" : built.error().message);
    const auto at = [&](Hookup hookup) {
        return response_of(*bench::BenchCircuit::build(d.bench, hookup, *built), d.truth.secondary_hz,
                           d.bench.wiring.coil_input.gain, random);
    };
    d.standards = {at(Hookup::open), at(Hookup::short_circuit), at(Hookup::load)};
    d.foot = at(Hookup::foot);
    return d;
}

measure::PairShape shape_from(const model::CoilDescription& coil) {
    const auto pair = model::make_coupled_pair(coil, {.sections = kSections, .convergence = 1e-3});
    EXPECT_TRUE(pair) << (pair ? "" : pair.error().message);
    return measure::shape_of(pair->two_modes());
}

measure::PairOutcome measured(const Drawn& d, const measure::PairShape& shape, bool standards = true) {
    const dsp::BenchValues values{10e3, 1e6, 150e-12, 10e3};
    const dsp::Standards used = standards ? d.standards : dsp::Standards{};
    const auto corrected = dsp::correct(d.foot, used, values);
    EXPECT_TRUE(corrected);
    // The truth's clock is exact: no allowance for it hides an error.
    measure::BenchTolerances tolerances;
    tolerances.clock_ppm = 0;
    return measure::find_pair(*corrected, d.foot, used, values, tolerances, shape, std::nullopt);
}

struct Covered {
    int frequency_1 = 0, frequency_2 = 0, q_1 = 0, q_2 = 0, k = 0;
    double worst_ppm = 0, worst_k = 0, worst_q = 0;

    void add(const Pair& p, const Truth& t) {
        frequency_1 += std::abs(p.primary_frequency_hz - t.primary_hz) <= p.primary_frequency_u95_hz ? 1 : 0;
        frequency_2 += std::abs(p.secondary_frequency_hz - t.secondary_hz) <= p.secondary_frequency_u95_hz ? 1 : 0;
        q_1 += std::abs(p.primary_q - t.primary_q) <= p.primary_q_u95 ? 1 : 0;
        q_2 += std::abs(p.secondary_q - t.secondary_q) <= p.secondary_q_u95 ? 1 : 0;
        k += std::abs(p.k - t.k) <= p.k_u95 ? 1 : 0;
        worst_ppm = std::max({worst_ppm, 1e6 * std::abs(p.primary_frequency_hz / t.primary_hz - 1),
                              1e6 * std::abs(p.secondary_frequency_hz / t.secondary_hz - 1)});
        worst_k = std::max(worst_k, std::abs(p.k / t.k - 1));
        worst_q =
            std::max({worst_q, std::abs(p.primary_q / t.primary_q - 1), std::abs(p.secondary_q / t.secondary_q - 1)});
    }
    void record(const std::string& name) const {
        ::testing::Test::RecordProperty(
            name + "_covered", ::testing::PrintToString(std::vector<int>{frequency_1, frequency_2, q_1, q_2, k}));
        ::testing::Test::RecordProperty(name + "_worst",
                                        ::testing::PrintToString(std::vector<double>{worst_ppm, worst_k, worst_q}));
    }
};

TEST(PairFit, SixtyRandomBenches) {
    std::mt19937_64 random(71);
    constexpr int kBenches = 60;
    Covered described, taped, usual;
    for (int i = 0; i < kBenches; ++i) {
        const Drawn d = draw(i, random);
        const auto exact = measured(d, shape_from(d.described));
        const auto* pair = std::get_if<Pair>(&exact);
        ASSERT_NE(pair, nullptr) << i << ": " << std::get<std::string>(exact);
        // The promise: 100 ppm and 2 %, the coil standing as it is described (inductance and capacitance off by 3 %).
        EXPECT_NEAR(pair->primary_frequency_hz / d.truth.primary_hz, 1, 100e-6) << i;
        EXPECT_NEAR(pair->secondary_frequency_hz / d.truth.secondary_hz, 1, 100e-6) << i;
        EXPECT_NEAR(pair->k / d.truth.k, 1, 0.02) << i;
        EXPECT_TRUE(pair->shape_described);
        // The peak nearer to the secondary's own resonance is the stronger; with the two within 2 % either may be.
        const double apart = d.truth.primary_hz / d.truth.secondary_hz - 1;
        if (std::abs(apart) > 0.06) {
            EXPECT_EQ(pair->lower_is_stronger(), apart > 0) << i << " " << apart;
        }
        described.add(*pair, d.truth);

        const auto with_tape = measured(d, shape_from(d.taped));
        ASSERT_TRUE(std::holds_alternative<Pair>(with_tape)) << i;
        taped.add(std::get<Pair>(with_tape), d.truth);

        const auto without = measured(d, measure::usual_shape());
        ASSERT_TRUE(std::holds_alternative<Pair>(without)) << i;
        EXPECT_FALSE(std::get<Pair>(without).shape_described);
        usual.add(std::get<Pair>(without), d.truth);
    }
    described.record("described");
    taped.record("taped");
    usual.record("usual");
    // 95 % is claimed; of 60, 53 or fewer happen by chance once in a hundred.
    for (const Covered& c : {described, taped, usual}) {
        EXPECT_GE(c.frequency_1, 54);
        EXPECT_GE(c.frequency_2, 54);
        EXPECT_GE(c.q_1, 54);
        EXPECT_GE(c.q_2, 54);
        EXPECT_GE(c.k, 54);
    }
    // What a tape leaves: a tenth of a per cent; k and Q as promised. Without any description: a per cent.
    EXPECT_LT(taped.worst_ppm, 1000);
    EXPECT_LT(taped.worst_k, 0.02);
    EXPECT_LT(usual.worst_ppm, 10000);
    EXPECT_LT(usual.worst_k, 0.05);
}

// Described as a different coil: with a third of the pairs its resonance and k are far from what is measured. The form
// taken from that description is wrong, the interval must say so.
TEST(PairFit, AnotherCoilThanDescribedIsCoveredAndSaid) {
    std::mt19937_64 random(74);
    Covered covered;
    int said = 0;
    for (int i = 0; i < 24; ++i) {
        const Drawn d = draw(i, random);
        model::CoilDescription other = d.described;
        other.secondary.length_m *= uniform(random, 0.85, 1.2);
        other.primary->base_height_m += uniform(random, 0, 0.06);
        for (auto& body : other.topload) std::get<model::Toroid>(body).outer_diameter_m *= uniform(random, 0.8, 1.3);
        const auto described = model::make_coupled_pair(other, {.sections = kSections, .convergence = 1e-3});
        ASSERT_TRUE(described) << described.error().message;
        const model::TwoModes modes = described->two_modes();
        measure::PairShape shape = measure::shape_of(modes);
        auto outcome = measured(d, shape);
        ASSERT_TRUE(std::holds_alternative<Pair>(outcome)) << i;
        const measure::PairParting parting = measure::parting_of(std::get<Pair>(outcome), modes);
        said += measure::judge_parting(parting) ? 1 : 0;
        if (measure::widen(shape, parting)) outcome = measured(d, shape);
        ASSERT_TRUE(std::holds_alternative<Pair>(outcome)) << i;
        covered.add(std::get<Pair>(outcome), d.truth);
    }
    covered.record("another");
    // 95 % of 24; 20 or fewer happen by chance once in a hundred.
    for (const int inside : {covered.frequency_1, covered.frequency_2, covered.k}) EXPECT_GE(inside, 21);
    EXPECT_GE(said, 3);
    EXPECT_LT(said, 24);
}

TEST(PairFit, WithoutStandardsTheIntervalHoldsTheDeclaredValues) {
    std::mt19937_64 random(72);
    for (int i = 0; i < 4; ++i) {
        const Drawn d = draw(i, random);
        const auto outcome = measured(d, shape_from(d.described), false);
        const auto* pair = std::get_if<Pair>(&outcome);
        ASSERT_NE(pair, nullptr) << std::get<std::string>(outcome);
        // Standards moved by rectangular limits: half as much again covers what falls outside 95 %.
        EXPECT_NEAR(pair->primary_frequency_hz, d.truth.primary_hz, 1.5 * pair->primary_frequency_u95_hz) << i;
        EXPECT_NEAR(pair->secondary_frequency_hz, d.truth.secondary_hz, 1.5 * pair->secondary_frequency_u95_hz) << i;
        EXPECT_NEAR(pair->k, d.truth.k, 1.5 * pair->k_u95) << i;
        EXPECT_GT(pair->budget.size(), 6U);
    }
}

TEST(PairFit, OnePeakIsNoPair) {
    std::mt19937_64 random(73);
    Drawn d = draw(0, random);
    d.bench.primary_circuit = bench::PrimaryCircuit::open;
    d.foot = response_of(*bench::BenchCircuit::build(d.bench, Hookup::foot), d.truth.secondary_hz,
                         d.bench.wiring.coil_input.gain, random);
    const auto outcome = measured(d, measure::usual_shape());
    ASSERT_TRUE(std::holds_alternative<std::string>(outcome));
    EXPECT_NE(std::get<std::string>(outcome).find("only one peak"), std::string::npos)
        << std::get<std::string>(outcome);
}

TEST(PairFit, TheSecondarysOwnSecondModeIsNoTank) {
    std::mt19937_64 random(74);
    // Long enough that both lie in the band: near 24 and 60 kHz.
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description.secondary = {0.4, 2.0, 4000, 0.4e-3, 0.3, 20, {}};
    coil.q = 100;
    coil.sections = kSections;
    bench.coil = coil;
    const auto circuit = bench::BenchCircuit::build(bench, Hookup::foot);
    ASSERT_TRUE(circuit);
    const double first = (*bench::BenchCoil::build(bench))->first_resonance_hz();
    dsp::Response foot = response_of(*circuit, first, 1, random);
    const dsp::Response higher = response_of(*circuit, 2.07 * first, 1, random);
    foot.frequency_hz.insert(foot.frequency_hz.end(), higher.frequency_hz.begin(), higher.frequency_hz.end());
    foot.ratio.insert(foot.ratio.end(), higher.ratio.begin(), higher.ratio.end());
    foot.variance.insert(foot.variance.end(), higher.variance.begin(), higher.variance.end());
    const auto corrected = dsp::correct(foot, {}, {10e3, 1e6, 150e-12, 10e3});
    ASSERT_TRUE(corrected);
    const auto outcome = measure::fit_pair(*corrected, measure::usual_shape());
    ASSERT_TRUE(std::holds_alternative<std::string>(outcome));
    EXPECT_NE(std::get<std::string>(outcome).find("second mode"), std::string::npos) << std::get<std::string>(outcome);
}

// The Jacobian by differences: everything the fit and its covariance rest on.
TEST(PairModel, DerivativesAreThoseOfTheModel) {
    const measure::PairShape shape = shape_from(test::example_pair());
    const measure::PairParameters at{66e3, 65e3, 80, 130, 0.14, 1.3e-5, 4e-12, 0.4, 0.3, 0.1, 0.02, -0.03};
    const measure::PairModel model(shape, at);
    const Eigen::VectorXd theta = model.scaled(at);
    for (const double f : {50e3, 61e3, 65.5e3, 70e3, 85e3}) {
        measure::PairModel::Derivatives slopes;
        static_cast<void>(model.admittance(f, theta.data(), &slopes));
        for (Eigen::Index k = 0; k < measure::PairModel::all; ++k) {
            constexpr double step = 1e-5;
            Eigen::VectorXd up = theta, down = theta;
            up(k) += step;
            down(k) -= step;
            const auto numeric = (model.admittance(f, up.data()) - model.admittance(f, down.data())) / (2 * step);
            // Rounding of the difference: 1e-16 of some 1e-4 S over 1e-5; curvature 1e-10.
            EXPECT_LT(std::abs(numeric - slopes[static_cast<std::size_t>(k)]), 1e-7 * std::abs(numeric) + 1e-14)
                << k << " at " << f;
        }
    }
}

// With the pair's own values in it the model is the coil's admittance; the background is the capacitance of the foot
// with no current anywhere, which the model does not know.
TEST(PairModel, IsTheCoilsAdmittance) {
    const model::CoilDescription coil = test::example_pair();
    auto secondary = model::SecondaryModel::build(coil, {.sections = kSections, .convergence = 1e-3});
    ASSERT_TRUE(secondary);
    const auto equivalent = secondary->equivalent(0);
    const model::TankLoop tank{57e-6, 0.25, 100e-9};
    const model::CoupledPair pair(std::make_shared<const model::SecondaryModel>(std::move(*secondary)),
                                  model::primary_section_mutual_h(*coil.primary, 11, coil.secondary, kSections), tank);
    const model::TwoModes modes = pair.two_modes();
    measure::PairParameters at;
    at.primary_hz = modes.primary_frequency_hz;
    at.secondary_hz = modes.secondary_frequency_hz;
    at.primary_q = kTwoPi * at.primary_hz * tank.inductance_h / tank.resistance_ohm;
    at.secondary_q = equivalent.q;
    at.k = modes.coupling;
    at.strength_s = 1 / (kTwoPi * equivalent.frequency_hz * equivalent.inductance_h);
    at.primary_exponent = 0;
    at.secondary_exponent = 0;  // a thin wire below its skin effect
    const measure::PairModel model(measure::shape_of(modes), at);
    const Eigen::VectorXd theta = model.scaled(at);
    const auto rest = [&](double f) {
        return (pair.foot_admittance(f) - model.admittance(f, theta.data())) / std::complex<double>(0, kTwoPi * f);
    };
    const double background = rest(30e3).real();
    EXPECT_GT(background, 1e-12);
    EXPECT_LT(background, 20e-12);
    for (const double f : {50e3, 61.5e3, 66e3, 70e3, 85e3}) {
        // Loss to second order is left out, and the far modes to the sixth power of frequency: 1e-4 of the admittance
        // at a peak, some hundredths of a picofarad between them.
        const double away = std::abs(rest(f) - background) * kTwoPi * f;
        EXPECT_LT(away, 3e-4 * std::abs(pair.foot_admittance(f)) + 2e-8) << f;
    }
    const auto resonances = model.resonances_hz(at);
    EXPECT_NEAR(resonances[0] / pair.modes_hz()[0], 1, 1e-6);
    EXPECT_NEAR(resonances[1] / pair.modes_hz()[1], 1, 1e-6);
}

}  // namespace
}  // namespace coldtune
