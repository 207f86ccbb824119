#include "dsp/correction.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <limits>
#include <random>

#include "tests/dsp/synthetic_bench.hpp"

namespace {

using namespace coldtune;
using namespace coldtune::dsp;
using namespace coldtune::dsp::synthetic;

// A real bench, solved by its nodes: source, generator input, reference resistor, coil input, lead, coil.
struct Bench {
    double source_ohm = 100;
    double reference_ohm = 10e3, reference_inductance_h = 0;
    double generator_input_ohm = 1e6, generator_input_f = 150e-12;
    double coil_input_ohm = 1e6, coil_input_f = 150e-12;
    double lead_ohm = 0, lead_h = 0;
    Complex gain = 1;  // coil channel over generator channel

    // Ratio seen with this admittance at the end of the lead.
    [[nodiscard]] Complex ratio(Complex admittance, double f) const {
        const Complex s = j * (two_pi * f);
        const Complex lead = lead_ohm + s * lead_h;
        // A lead without impedance is no node of its own.
        const Complex far = lead == 0.0 ? admittance : admittance / (1.0 + lead * admittance);
        return solve(far, f);
    }
    [[nodiscard]] Complex short_ratio(double f) const {
        const Complex lead = lead_ohm + j * (two_pi * f) * lead_h;
        return lead == 0.0 ? Complex{} : solve(1.0 / lead, f);
    }

private:
    [[nodiscard]] Complex solve(Complex far, double f) const {
        const Complex s = j * (two_pi * f);
        const Complex middle = 1.0 / (reference_ohm + s * reference_inductance_h);
        Eigen::Matrix2cd nodes;
        nodes << 1 / source_ohm + 1 / generator_input_ohm + s * generator_input_f + middle, -middle,  //
            -middle, middle + 1 / coil_input_ohm + s * coil_input_f + far;
        const Eigen::Vector2cd voltage = nodes.fullPivLu().solve(Eigen::Vector2cd(1 / source_ohm, 0));
        return gain * voltage(1) / voltage(0);
    }
};

const std::vector<double>& grid() {
    static const auto g = even_grid(2e3, 80e3, 40);
    return g;
}

Response noiseless(const std::function<Complex(double)>& ratio, const std::vector<double>& f = grid()) {
    std::mt19937_64 random(1);
    auto response = respond(f, ratio, 0, random);
    std::fill(response.variance.begin(), response.variance.end(), 1e-12);
    return response;
}

Standards measured(const Bench& bench, int subset, double load_ohm, const std::vector<double>& f = grid()) {
    Standards standards;
    if ((subset & 1) != 0) standards.open = noiseless([&](double x) { return bench.ratio(0, x); }, f);
    if ((subset & 2) != 0) standards.short_circuit = noiseless([&](double x) { return bench.short_ratio(x); }, f);
    if ((subset & 4) != 0) standards.load = noiseless([&](double x) { return bench.ratio(1 / load_ohm, x); }, f);
    return standards;
}

BenchValues declared(const Bench& bench, double load_ohm = 0) {
    return {bench.reference_ohm, bench.coil_input_ohm, bench.coil_input_f, load_ohm};
}

Complex coil(double f) {
    return SeriesBranch{35e3, 12, 3e3, 40e-12}.admittance(f);
}

// All three standards: whatever the bench, as long as it is linear.
TEST(Correction, AnyLinearBenchWithAllThreeStandards) {
    std::mt19937_64 random(20240501);
    std::uniform_real_distribution<double> unit(0, 1);
    const auto between = [&](double low, double high) { return low * std::pow(high / low, unit(random)); };
    for (int run = 0; run < 300; ++run) {
        Bench bench;
        bench.source_ohm = between(1, 1e3);
        bench.reference_ohm = between(500, 50e3);
        bench.reference_inductance_h = between(1e-9, 1e-5);
        bench.generator_input_ohm = between(1e4, 1e7);
        bench.generator_input_f = between(1e-12, 1e-9);
        bench.coil_input_ohm = between(1e4, 1e7);
        bench.coil_input_f = between(1e-12, 1e-9);
        bench.lead_ohm = between(1e-3, 10);
        bench.lead_h = between(1e-9, 1e-5);
        bench.gain = std::polar(between(0.5, 2), 0.3 * (unit(random) - 0.5));
        const double load = between(1e3, 1e5);
        const Complex z = std::polar(between(100, 1e5), 3 * (unit(random) - 0.5));
        const auto response = noiseless([&](double f) { return bench.ratio(1.0 / z, f); });
        const auto corrected = correct(response, measured(bench, 7, load), declared(bench, load));
        ASSERT_TRUE(corrected);
        ASSERT_EQ(corrected->frequency_hz.size(), grid().size());
        for (const Complex found : corrected->impedance) {
            // Rounding of 1e-16 in the ratios, enlarged by at most 1e5/100 on either side of the bridge.
            EXPECT_LT(std::abs(found - z) / std::abs(z), 1e-9) << "run " << run;
        }
    }
}

class Subset : public testing::TestWithParam<int> {};

// Every subset is exact on a bench whose unmeasured part is as declared.
TEST_P(Subset, ExactWhereTheRestIsAsDeclared) {
    const int subset = GetParam();
    const double load = 8.2e3;
    Bench bench;
    auto values = declared(bench, load);
    // What a standard shows may be undeclared: the open shows the coil input, the short the lead.
    if ((subset & 1) != 0) bench.coil_input_f = 420e-12, bench.coil_input_ohm = 200e3;
    if ((subset & 2) != 0) bench.lead_ohm = 0.8, bench.lead_h = 3e-6;
    const auto corrected =
        correct(noiseless([&](double f) { return bench.ratio(coil(f), f); }), measured(bench, subset, load), values);
    ASSERT_TRUE(corrected);
    EXPECT_EQ(corrected->used_open, (subset & 1) != 0);
    EXPECT_EQ(corrected->used_short, (subset & 2) != 0);
    EXPECT_EQ(corrected->used_load, (subset & 4) != 0);
    for (std::size_t i = 0; i < grid().size(); ++i) {
        const Complex z = 1.0 / coil(grid()[i]);
        EXPECT_LT(std::abs(corrected->impedance[i] - z) / std::abs(z), 1e-10);  // rounding, as above
    }
}

// On any other bench a subset is the header's formula with the declared standards put in. The predicted load is put in
// with two different values, to show that it drops out.
TEST_P(Subset, IsTheFormulaWithDeclaredStandards) {
    const int subset = GetParam();
    const double load = 8.2e3;
    Bench bench;
    bench.gain = {0.97, 0.02};
    bench.lead_ohm = 2;
    bench.lead_h = 1e-6;
    bench.coil_input_f = 230e-12;
    BenchValues values{9.9e3, 0.9e6, 170e-12, load};
    const auto standards = measured(bench, subset, load);
    const auto corrected = correct(noiseless([&](double f) { return bench.ratio(coil(f), f); }), standards, values);
    ASSERT_TRUE(corrected);
    for (std::size_t i = 0; i < grid().size(); ++i) {
        const double f = grid()[i];
        const Complex m = bench.ratio(coil(f), f);
        const double r = values.reference_ohm;
        const auto divide = [r](Complex y) { return 1.0 / (1.0 + r * y); };
        const Complex declared_input{1 / values.input_resistance_ohm, two_pi * f * values.input_capacitance_f};
        const Complex open = standards.open ? standards.open->ratio[i] : divide(declared_input);
        const Complex shorted = standards.short_circuit ? standards.short_circuit->ratio[i] : 0.0;
        const Complex input = (1.0 / open - 1.0) / r;
        const Complex lead = shorted == 0.0 ? 0.0 : 1.0 / ((1.0 / shorted - 1.0) / r - input);
        for (const double put_in : {load, 3 * load}) {
            if (standards.load && put_in != load) continue;
            const Complex at_load = standards.load ? standards.load->ratio[i] : divide(input + 1.0 / (put_in + lead));
            const Complex z = put_in * (m - shorted) * (open - at_load) / ((open - m) * (at_load - shorted));
            EXPECT_LT(std::abs(corrected->impedance[i] - z) / std::abs(z), 1e-10);  // rounding
        }
    }
}

// The map is the same correction seen from the admittance, and its variance the same information.
TEST_P(Subset, MapAgreesWithTheImpedance) {
    const int subset = GetParam();
    Bench bench;
    bench.gain = {1.02, -0.01};
    bench.lead_ohm = 0.5;
    const double load = 12e3;
    const auto corrected = correct(noiseless([&](double f) { return bench.ratio(coil(f), f); }),
                                   measured(bench, subset, load), declared(bench, load));
    ASSERT_TRUE(corrected);
    for (std::size_t i = 0; i < grid().size(); ++i) {
        const auto& map = corrected->map[i];
        const Complex m = corrected->ratio[i];
        const Complex y = map.admittance(m);
        EXPECT_LT(std::abs(y * corrected->impedance[i] - 1.0), 1e-11);  // rounding
        EXPECT_LT(std::abs(map.ratio(y) - m), 1e-13);
        const double step = 1e-6;  // central difference: error 1e-12 of the curve's scale, rounding 1e-10
        const Complex slope = (1.0 / map.admittance(m + step) - 1.0 / map.admittance(m - step)) / (2 * step);
        EXPECT_NEAR(std::norm(slope) * corrected->ratio_variance[i] / corrected->impedance_variance[i], 1, 1e-6);
    }
}

// The propagated variance against repetition: noise on the coil and on each measured standard.
TEST_P(Subset, VarianceAgainstRepetition) {
    const int subset = GetParam();
    constexpr unsigned seed = 77;
    constexpr int runs = 4000;  // standard deviation of a mean square of circular noise: 1/sqrt(4000) = 1.6 %
    constexpr double noise = 2e-5;
    RecordProperty("seed", static_cast<int>(seed));
    std::mt19937_64 random(seed + static_cast<unsigned>(subset));
    Bench bench;
    bench.gain = {1.01, 0.02};
    bench.lead_ohm = 3;
    const double load = 12e3;
    const std::vector<double> f{9e3, 33e3, 35e3, 70e3};
    const auto with_noise = [&](const std::function<Complex(double)>& ratio, double factor) {
        return respond(f, ratio, factor * noise, random);
    };
    std::array<double, 4> squares{};
    std::array<double, 4> stated{};
    const auto exact = correct(noiseless([&](double x) { return bench.ratio(coil(x), x); }, f),
                               measured(bench, subset, load, f), declared(bench, load));
    ASSERT_TRUE(exact);
    for (int run = 0; run < runs; ++run) {
        Standards standards;
        if ((subset & 1) != 0) standards.open = with_noise([&](double x) { return bench.ratio(0, x); }, 1);
        if ((subset & 2) != 0) standards.short_circuit = with_noise([&](double x) { return bench.short_ratio(x); }, 2);
        if ((subset & 4) != 0) standards.load = with_noise([&](double x) { return bench.ratio(1 / load, x); }, 3);
        const auto corrected =
            correct(with_noise([&](double x) { return bench.ratio(coil(x), x); }, 1), standards, declared(bench, load));
        ASSERT_TRUE(corrected);
        for (std::size_t i = 0; i < f.size(); ++i) {
            squares[i] += std::norm(corrected->impedance[i] - exact->impedance[i]) / runs;
            stated[i] += corrected->impedance_variance[i] / runs;
        }
    }
    for (std::size_t i = 0; i < f.size(); ++i) {
        EXPECT_NEAR(squares[i] / stated[i], 1, 0.065) << "at " << f[i];  // four standard deviations
    }
}

INSTANTIATE_TEST_SUITE_P(OpenShortLoad, Subset, testing::Range(0, 8));

TEST(Correction, InfiniteInputResistanceAndNoCapacitanceIsTheIdealBench) {
    const Complex z{1234, -567};
    const auto response = noiseless([&](double) { return z / (10e3 + z); });
    const auto corrected = correct(response, {}, {10e3, std::numeric_limits<double>::infinity(), 0, 0});
    ASSERT_TRUE(corrected);
    for (const Complex found : corrected->impedance) EXPECT_LT(std::abs(found - z) / std::abs(z), 1e-13);  // rounding
}

TEST(Correction, StandardsOnOtherBinsAreInterpolated) {
    Bench bench;
    bench.gain = {0.98, 0.01};
    bench.lead_h = 2e-6;
    const double load = 10e3;
    const auto fine = even_grid(5e3, 60e3, 501);
    const auto coarse = even_grid(4e3, 64e3, 121);  // every 500 Hz, off the coil's bins
    const auto corrected = correct(noiseless([&](double f) { return bench.ratio(coil(f), f); }, fine),
                                   measured(bench, 7, load, coarse), declared(bench, load));
    ASSERT_TRUE(corrected);
    ASSERT_EQ(corrected->frequency_hz.size(), fine.size());
    for (std::size_t i = 0; i < fine.size(); ++i) {
        const Complex z = 1.0 / coil(fine[i]);
        // The open's corner is at 1/(2 pi R C) = 106 kHz: the cubic's error is (3/128) (0.5/106)^4 of the ratio, about
        // 1e-11; where |Z| is large against R it is enlarged a hundredfold.
        EXPECT_LT(std::abs(corrected->impedance[i] - z) / std::abs(z), 1e-8);
    }
}

TEST(Correction, BinsOutsideAStandardAreDropped) {
    Bench bench;
    const auto open = noiseless([&](double f) { return bench.ratio(0, f); }, even_grid(20e3, 50e3, 31));
    Standards standards;
    standards.open = open;
    const auto fine = even_grid(1e3, 80e3, 80);
    const auto corrected =
        correct(noiseless([&](double f) { return bench.ratio(coil(f), f); }, fine), standards, declared(bench));
    ASSERT_TRUE(corrected);
    EXPECT_EQ(corrected->frequency_hz.front(), 20e3);
    EXPECT_EQ(corrected->frequency_hz.back(), 50e3);
    EXPECT_EQ(corrected->frequency_hz.size(), 31U);
    EXPECT_EQ(corrected->map.size(), 31U);
}

TEST(Correction, AHoleInAStandardIsNotBridged) {
    Bench bench;
    auto f = even_grid(2e3, 5e3, 31);
    const auto above = even_grid(40e3, 60e3, 31);
    f.insert(f.end(), above.begin(), above.end());
    Standards standards;
    standards.open = noiseless([&](double x) { return bench.ratio(0, x); }, f);
    const auto corrected = correct(noiseless([&](double x) { return bench.ratio(coil(x), x); }, {3.03e3, 20e3, 50.1e3}),
                                   standards, declared(bench));
    ASSERT_TRUE(corrected);
    EXPECT_THAT(corrected->frequency_hz, testing::ElementsAre(3.03e3, 50.1e3));
}

TEST(Correction, RefusesWhatCannotBeUsed) {
    Bench bench;
    const auto response = noiseless([&](double f) { return bench.ratio(coil(f), f); });
    const auto good = declared(bench, 10e3);
    const auto refused = [&](const Standards& standards, BenchValues values) {
        const auto result = correct(response, standards, values);
        return !result && result.error().kind == ErrorKind::bad_input && !result.error().message.empty();
    };
    for (const double reference : {0.0, -1.0, std::numeric_limits<double>::quiet_NaN()}) {
        auto values = good;
        values.reference_ohm = reference;
        EXPECT_TRUE(refused({}, values));
    }
    auto values = good;
    values.load_ohm = 0;
    EXPECT_TRUE(refused(measured(bench, 4, 10e3), values));
    EXPECT_TRUE(correct(response, {}, values)) << "a load that was not measured needs no value";
    values = good;
    values.input_capacitance_f = -1e-12;
    EXPECT_TRUE(refused({}, values));
    values = good;
    values.input_resistance_ohm = 0;
    EXPECT_TRUE(refused({}, values));

    auto standards = measured(bench, 1, 10e3);
    standards.open->sample_rate_hz = 96000;
    EXPECT_TRUE(refused(standards, good));
    standards = measured(bench, 2, 10e3, even_grid(90e3, 95e3, 20));
    EXPECT_TRUE(refused(standards, good)) << "no bin in common";
    standards.short_circuit->ratio.clear();
    EXPECT_TRUE(refused(standards, good)) << "an empty standard";
    Response empty;
    empty.sample_rate_hz = 192000;
    EXPECT_FALSE(correct(empty, {}, good));
}

}  // namespace
