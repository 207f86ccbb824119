// The model's matrices, handed to ngspice as a circuit: a chain of inductances with every mutual one, and a capacitor
// between every two nodes. ngspice must find the same resonances. It is installed by ./tests/run; a machine without it
// fails here.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "analyzer/model/secondary.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::model {
namespace {

CoilDescription coil_with_toroid() {
    return test::example_coil({Toroid{0.4, 0.1, 0.08}});
}

// Elements between nodes 0..n named v0..vn; the return is ngspice's node 0.
std::string elements(const SecondaryModel& model) {
    const auto& l = model.branch_inductance_h();
    const auto& c = model.node_capacitance_f();
    std::string text;
    for (Eigen::Index k = 0; k < l.rows(); ++k) {
        text += fmt::format("L{} v{} v{} {:.17g}\n", k, k, k + 1, l(k, k));
        for (Eigen::Index j = 0; j < k; ++j) {
            text += fmt::format("K{}_{} L{} L{} {:.17g}\n", k, j, k, j, l(k, j) / std::sqrt(l(k, k) * l(j, j)));
        }
    }
    for (Eigen::Index k = 0; k < c.rows(); ++k) {
        text += fmt::format("C{} v{} 0 {:.17g}\n", k, k, c.row(k).sum());
        for (Eigen::Index j = 0; j < k; ++j) text += fmt::format("C{}_{} v{} v{} {:.17g}\n", k, j, k, j, -c(k, j));
    }
    return text;
}

// Real part of the head voltage per volt at the foot, at three frequencies in equal steps around each centre.
std::vector<std::array<double, 3>> head_around(const SecondaryModel& model, const std::vector<double>& centres,
                                               double step) {
    const coldtune::testing::ScratchFolder folder;
    std::string deck = "resonances of a coil\n" + elements(model) + "V1 v0 0 AC 1\n.control\nset numdgt=12\n";
    const Eigen::Index head = model.branch_inductance_h().rows();
    for (std::size_t i = 0; i < centres.size(); ++i) {
        deck += fmt::format("ac lin 3 {:.17g} {:.17g}\nwrdata {} real(v(v{}))\n", centres[i] * (1 - step),
                            centres[i] * (1 + step), (folder / fmt::format("mode{}.txt", i)).string(), head);
    }
    deck += "quit\n.endc\n.end\n";
    const auto file = folder.put("coil.cir", deck);
    const auto outcome = coldtune::testing::run({"ngspice", "-b", file.string()}, std::chrono::seconds(60));
    std::vector<std::array<double, 3>> result;
    for (std::size_t i = 0; i < centres.size(); ++i) {
        std::ifstream in(folder / fmt::format("mode{}.txt", i));
        std::array<double, 3> values{};
        double frequency = 0;
        for (double& value : values) in >> frequency >> value;
        if (!in) {
            ADD_FAILURE() << "ngspice gave no answer; is it installed (apt-get install ngspice)? It said: "
                          << outcome.output << outcome.errors;
            return {};
        }
        result.push_back(values);
    }
    return result;
}

TEST(NgspiceModel, SameMatricesSameResonances) {
    const auto model = SecondaryModel::build(coil_with_toroid(), {.sections = 16, .convergence = 1e-3});
    ASSERT_TRUE(model) << model.error().message;
    // Sampled off the resonance by different amounts, so that the model's own value is not the point of symmetry.
    std::vector<double> centres;
    for (std::size_t mode = 0; mode < 4; ++mode) {
        centres.push_back(model->modes_hz()[mode] * (1 + 1e-4 * (static_cast<double>(mode) - 1.3)));
    }
    constexpr double step = 1e-3;
    const auto samples = head_around(*model, centres, step);
    ASSERT_EQ(samples.size(), 4U);
    for (std::size_t mode = 0; mode < 4; ++mode) {
        // Without loss the head voltage has a pole at the resonance: its inverse passes through zero. Zero of the
        // parabola through three points in t = (f/centre - 1)/step; what a parabola misses over 1e-3 is below 1e-8.
        const auto& v = samples[mode];
        const double low = 1 / v[0];
        const double mid = 1 / v[1];
        const double high = 1 / v[2];
        const double slope = 0.5 * (high - low);
        const double curve = 0.5 * (high + low) - mid;
        double t = -mid / slope;
        for (int i = 0; i < 20; ++i) t = -(mid + curve * t * t) / slope;
        ASSERT_LT(std::abs(t), 1.0) << "no resonance of ngspice within " << step << " of mode " << mode;
        const double spice_hz = centres[mode] * (1 + step * t);
        // 1e-6: the stated agreement; ngspice solves to about 1e-9 near a pole and prints twelve digits.
        EXPECT_NEAR(model->modes_hz()[mode] / spice_hz, 1, 1e-6) << mode;
    }
}

TEST(NgspiceModel, HeadVoltageAwayFromResonance) {
    const auto model = SecondaryModel::build(coil_with_toroid(), {.sections = 16, .convergence = 1e-3});
    ASSERT_TRUE(model) << model.error().message;
    const std::vector<double> centres{20e3, 100e3, 400e3};
    const auto samples = head_around(*model, centres, 1e-3);
    ASSERT_EQ(samples.size(), 3U);
    for (std::size_t i = 0; i < 3; ++i) {
        // Loss (which the deck leaves out) moves the ratio by 1/Q^2 here: scaled away to a millionth.
        const double ours =
            model->head_volts_per_volt(centres[i], {.capacitance = 1, .inductance = 1, .resistance = 1e-6}).real();
        EXPECT_NEAR(ours / samples[i][1], 1, 1e-6) << centres[i];
    }
}

}  // namespace
}  // namespace coldtune::model
