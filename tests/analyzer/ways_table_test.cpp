// The ways to a resonance side by side: interface rate against resonance, error and stated interval of each. Truth: the
// matrices of the coil as it is on the bench, solved directly (tests/support/true_coil.hpp). The table is printed.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <vector>

#include "analyzer/measure/loading_series.hpp"
#include "analyzer/model/calculated.hpp"
#include "analyzer/model/handbook.hpp"
#include "tests/support/below_band_case.hpp"

namespace coldtune {
namespace {

using test::Case;
using test::Draw;
using test::Interface;

// Errors and stated 95 % half-widths of one way, relative.
struct Column {
    std::vector<double> errors, half_widths;
    int covered = 0;
    void add(double value, double u95, double truth) {
        errors.push_back(std::abs(value / truth - 1));
        half_widths.push_back(u95 / truth);
        covered += std::abs(value - truth) <= u95 ? 1 : 0;
    }
    [[nodiscard]] double worst() const { return errors.empty() ? 0 : *std::max_element(errors.begin(), errors.end()); }
    [[nodiscard]] double stated() const {
        std::vector<double> v = half_widths;
        std::sort(v.begin(), v.end());
        return v.empty() ? 0 : v[v.size() / 2];
    }
};

// Resonances of the true coil under 1 % capacitors (E12 from 33 pF to 3.3 nF) that lie between a fifth and all of the
// usable band, with leads of up to a picofarad; at most five, spread evenly.
std::optional<measure::SeriesEstimate> loading_series(const Case& c, double edge_hz, Draw& draw) {
    std::vector<measure::SeriesPoint> points;
    std::vector<std::string> names;
    const double lead_f = draw.uniform(-1e-12, 1e-12);
    for (const double c_f :
         {33e-12, 47e-12, 68e-12, 100e-12, 150e-12, 220e-12, 330e-12, 470e-12, 680e-12, 1e-9, 1.5e-9, 2.2e-9, 3.3e-9}) {
        test::TrueCoil loaded = c.truth;
        const Eigen::Index head = loaded.capacitance_f.rows() - 1;
        loaded.capacitance_f(head, head) += c_f * (1 + draw.uniform(-0.01, 0.01)) + lead_f;
        const double f = loaded.first_mode_hz();
        if (f > edge_hz || f < 0.2 * edge_hz || points.size() == 5) continue;
        // 1e-5: what an in-band fit of Q 100 states at -100 dBFS.
        points.push_back({c_f, 0.01 * c_f, f * (1 + 1e-5 * draw.normal()), 1e-5 * f});
        names.push_back("point");
    }
    if (points.size() < 2) return std::nullopt;
    measure::SeriesInput input;
    input.points = points;
    input.names = names;
    const auto family = measure::ShapeFamily::build(c.described);
    const auto curve = measure::LoadingCurve::of(*family);
    const auto judged = measure::judge_series(input, &curve, {family->inductance_prior(), family->capacitance_prior()});
    return judged.model;
}

TEST(Ways, SideBySide) {
    constexpr int kCases = 10;
    std::printf(
        "rate kHz, resonance    |  below-band          |  loading series      |  calculated          |  handbook\n");
    std::printf(
        "times the band edge    |  worst %% stated %% in |  worst %% stated %% in |  worst %% stated %% in |  worst "
        "%%\n");
    Column all_below, all_loading, all_calculated;
    Draw draw{std::mt19937_64(900)};
    for (const double rate_hz : {96e3, 192e3}) {
        const double edge_hz = 0.45 * rate_hz;
        for (const auto& [low, high] : {std::pair{1.15, 1.6}, {1.6, 2.2}, {2.2, 2.8}, {2.8, 3.4}}) {
            const Interface interface { rate_hz, low *edge_hz, high *edge_hz };
            Column below, loading, calculated, handbook;
            for (int i = 0; i < kCases; ++i) {
                const Case c = test::draw_case(draw, interface, test::kAll);
                const auto outcome = test::measured(c, interface, test::kOpen, draw);
                if (const auto* fit = std::get_if<measure::BelowBandFit>(&outcome)) {
                    for (Column* column : {&below, &all_below})
                        column->add(fit->resonance.frequency_hz, fit->resonance.frequency_u95_hz, c.resonance_hz);
                }
                if (const auto series = loading_series(c, edge_hz, draw); series && series->frequency_hz) {
                    for (Column* column : {&loading, &all_loading})
                        column->add(*series->frequency_hz, *series->frequency_u95_hz, c.resonance_hz);
                }
                const auto value = model::calculate(c.described);
                ASSERT_TRUE(value.ok());
                for (Column* column : {&calculated, &all_calculated})
                    column->add(value->frequency_hz, value->frequency_u95_hz, c.resonance_hz);
                handbook.add(model::handbook_values(c.described).frequency_hz, 0, c.resonance_hz);
            }
            std::printf("%4.0f   %.2f to %.2f       |", rate_hz / 1e3, low, high);
            for (const Column* column : {&below, &loading, &calculated}) {
                std::printf(" %6.2f   %6.2f %2d/%-2zu |", 100 * column->worst(), 100 * column->stated(),
                            column->covered, column->errors.size());
            }
            std::printf(" %6.1f\n", 100 * handbook.worst());
            // What measuring is for: the stated interval is well inside that of the calculation alone.
            EXPECT_LT(below.stated(), calculated.stated() / 2);
            EXPECT_GE(below.errors.size(), std::size_t{9}) << "refused";
        }
    }
    // The promise of the intervals, with everything left out that a model can leave out.
    for (const auto& [name, column] : {std::pair{"below-band", &all_below}, {"loading series", &all_loading}}) {
        EXPECT_GE(column->covered, static_cast<int>(std::floor(0.93 * static_cast<double>(column->errors.size()))))
            << name;
    }
    EXPECT_LE(all_below.worst(), 0.02);
}

}  // namespace
}  // namespace coldtune
