#include "tests/support/below_band_case.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <variant>

namespace coldtune::test {

model::CoilDescription described_coil(Draw& draw) {
    model::CoilDescription c;
    auto& w = c.secondary;
    w.diameter_m = draw.uniform(0.06, 0.25);
    w.length_m = w.diameter_m * draw.uniform(3.5, 5.5);
    w.turns = std::floor(draw.uniform(600, 2200));
    w.wire_diameter_m = 0.8 * w.length_m / w.turns;
    w.base_height_m = draw.uniform(0.05, 0.4);
    if (draw.uniform(0, 1) < 0.75) {
        const double outer = w.diameter_m * draw.uniform(1.8, 3.5);
        c.topload.push_back(model::Toroid{outer, outer * draw.uniform(0.2, 0.3), outer * draw.uniform(0.15, 0.3)});
    }
    return c;
}

model::CoilDescription deviated(model::CoilDescription c, Draw& draw) {
    const auto off = [&] { return 1 + draw.uniform(-0.05, 0.05); };
    c.secondary.diameter_m *= off();
    c.secondary.length_m *= off();
    c.secondary.turns *= off();
    c.secondary.base_height_m *= off();
    c.secondary.wire_diameter_m *= 0.9;  // still fits; loss is drawn separately
    for (auto& body : c.topload) {
        auto& t = std::get<model::Toroid>(body);
        t.outer_diameter_m *= off();
        t.tube_diameter_m *= off();
        t.height_m = std::max(t.height_m * off(), 0.55 * t.tube_diameter_m);
    }
    return c;
}

Case draw_case(Draw& draw, const Interface& interface, Leaves leaves) {
    for (;;) {
        Case c;
        c.described = described_coil(draw);
        model::CoilDescription real = deviated(c.described, draw);
        if (leaves == kWall || leaves == kAll) real.surroundings.wall_radius_m = 1.0;
        if (!model::check_geometry(c.described).ok()) continue;
        model::ModelOptions options;
        options.sections = 24;
        const auto model = model::SecondaryModel::build(real, options);
        if (!model) continue;
        c.truth = TrueCoil::from(*model);
        if (leaves == kFormer || leaves == kAll) {
            // A tube of relative permittivity 3 and 2 mm wall carries axial flux beside the winding and adds to the
            // capacitance of the winding, not of the top load.
            const double wall_area = std::numbers::pi * real.secondary.diameter_m * 2e-3;
            c.truth.turn_to_turn_f = 8.8541878128e-12 * 2.0 * wall_area / (real.secondary.length_m / 24);
            Eigen::MatrixXd& cap = c.truth.capacitance_f;
            const Eigen::Index n = cap.rows() - 1;
            for (Eigen::Index i = 0; i < n; ++i) cap(i, i) += 0.03 * cap.row(i).head(n).sum();
        }
        c.resonance_hz = c.truth.first_mode_hz();
        if (c.resonance_hz < interface.low_hz || c.resonance_hz > interface.high_hz) continue;
        c.q = draw.uniform(60, 300);
        // Per branch, for the wanted Q: w L_low / Q shared among the branches.
        const double reactance = 2 * std::numbers::pi * c.resonance_hz * c.truth.inductance_h.sum();
        c.truth.resistance_ohm = reactance / c.q / 24;
        c.truth.reference_hz = c.resonance_hz;
        c.truth.resistance_exponent = leaves == kLoss || leaves == kAll ? draw.uniform(0.8, 2.0) : 0.5;
        if (leaves == kFloor || leaves == kAll) c.truth.floor_ohm = draw.uniform(20, 300);
        c.truth.stray_f = draw.uniform(-0.7e-12, 0.7e-12);  // the clip on the foot is not quite where it hung open
        return c;
    }
}

measure::BelowBandOutcome measured(const Case& c, const Interface& interface, Standards used, Draw& draw,
                                   double reference_ohm) {
    const dsp::BenchValues declared{reference_ohm, 1e6, 150e-12, 10e3};
    const double reference = reference_ohm * (1 + draw.uniform(-0.01, 0.01));
    const double cable = 150e-12 * (1 + draw.uniform(-0.29, 0.29));
    const Complex gain = std::polar(1 + draw.uniform(-0.01, 0.01), draw.uniform(-5e-4, 5e-4));
    const double edge = draw.uniform(-4e-4, 4e-4);  // of the coil input's gain at the band edge
    const dsp::Band band{500, 0.45 * interface.rate_hz};
    constexpr std::size_t kBins = 300;
    const double spacing = (band.high_hz - band.low_hz) / kBins;
    const double lines = (band.high_hz - band.low_hz) / 1.5;
    const double amplitude = 0.7 * (0.5 / 1.7) * std::sqrt(2 / lines);
    const double line_variance = 4 * 0.5e-10 / (10 * interface.rate_hz) / (spacing / 1.5);

    const auto response = [&](auto admittance) {
        dsp::Response r;
        r.sample_rate_hz = interface.rate_hz;
        for (std::size_t k = 0; k < kBins; ++k) {
            const double f = band.low_hz + (static_cast<double>(k) + 0.5) * spacing;
            const Complex input(1e-6, 2 * std::numbers::pi * f * cable);
            const Complex resistor = 1 / reference + Complex(0, 2 * std::numbers::pi * f * c.reference_f);
            const Complex ideal = resistor / (resistor + admittance(f) + input);
            const double variance = (1 + std::norm(ideal)) * line_variance / (amplitude * amplitude);
            const double s = std::sqrt(variance / 2);
            const Complex bent = gain * (1 + edge * std::pow(f / band.high_hz, 2)) * c.inputs(f);
            r.frequency_hz.push_back(f);
            r.ratio.push_back(bent * ideal + Complex(s * draw.normal(), s * draw.normal()));
            r.variance.push_back(variance);
        }
        r.generator_amplitude.assign(kBins, amplitude);
        r.generator_noise.assign(kBins, std::sqrt(line_variance));
        r.coil_amplitude = r.generator_amplitude;
        r.coil_noise = r.generator_noise;
        r.averages = 14;
        return r;
    };
    const dsp::Response coil = response([&](double f) { return c.truth.foot_admittance(f); });
    dsp::Standards standards;
    if (used != kNone) standards.open = response([](double) { return Complex(0, 0); });
    if (used == kThree) {
        standards.short_circuit =
            response([](double f) { return 1.0 / Complex(0.1, 2 * std::numbers::pi * f * 5e-7); });
        standards.load = response([](double) { return Complex(1e-4, 0); });
    }
    const auto corrected = dsp::correct(coil, standards, declared);
    EXPECT_TRUE(corrected.ok());
    const auto family = measure::ShapeFamily::build(c.described);
    EXPECT_TRUE(family.ok());
    return measure::find_below_band(*corrected, *family, declared, {}, band);
}

}  // namespace coldtune::test
