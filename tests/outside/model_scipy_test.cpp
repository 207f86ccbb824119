// The distributed model against a second one in Python (numpy, scipy) that shares neither code nor discretisation:
// fixtures/independent_model.py, its answers in fixtures/reference/independent_model.json.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>

#include "analyzer/model/inductance.hpp"
#include "analyzer/model/secondary.hpp"

namespace coldtune::model {
namespace {

using nlohmann::json;

json reference() {
    const auto path = std::filesystem::path(COLDTUNE_FIXTURES) / "reference" / "independent_model.json";
    std::ifstream in(path);
    if (!in) throw std::runtime_error("missing " + path.string() + "; fixtures/independent_model.py writes it");
    return json::parse(in);
}

CoilDescription describe(const json& from) {
    CoilDescription coil;
    const json& winding = from.at("winding");
    coil.secondary = {.diameter_m = winding.at("diameter_m"),
                      .length_m = winding.at("length_m"),
                      .turns = winding.at("turns"),
                      .wire_diameter_m = winding.at("wire_diameter_m"),
                      .base_height_m = winding.at("base_height_m"),
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    coil.surroundings.ground = from.at("ground");
    for (const json& body : from.at("topload")) {
        const std::string shape = body.at("shape");
        const double height = body.at("height_m");
        if (shape == "toroid") {
            coil.topload.push_back(Toroid{body.at("outer_diameter_m"), body.at("tube_diameter_m"), height});
        } else if (shape == "sphere") {
            coil.topload.push_back(Sphere{body.at("diameter_m"), height});
        } else {
            coil.topload.push_back(Disc{body.at("diameter_m"), height});
        }
    }
    if (from.contains("strike_ring")) {
        const json& ring = from.at("strike_ring");
        coil.surroundings.strike_ring =
            Surroundings::StrikeRing{ring.at("diameter_m"), ring.at("tube_diameter_m"), ring.at("height_m")};
    }
    return coil;
}

TEST(ScipyModel, AgreesAtEqualSections) {
    const json document = reference();
    ASSERT_EQ(document.at("cases").size(), 7U);
    for (const json& one : document.at("cases")) {
        const std::string name = one.at("name");
        const CoilDescription coil = describe(one);
        const std::size_t sections = one.at("sections");
        const auto model = SecondaryModel::build(coil, {.sections = sections, .convergence = 1e-3});
        ASSERT_TRUE(model) << name << ": " << model.error().message;
        ASSERT_EQ(model->sections(), sections);
        const json& result = one.at("result");
        for (std::size_t mode = 0; mode < 4; ++mode) {
            // The stated agreement. Twenty bands a section and collocation are good for a few times 1e-4.
            EXPECT_NEAR(model->modes_hz()[mode] / result.at("modes_hz").at(mode).get<double>(), 1, 1e-3)
                << name << ", mode " << mode;
        }
        // Sum over rings against current sheet with Rosa's corrections: 1e-5 at these numbers of turns.
        EXPECT_NEAR(model->branch_inductance_h().sum() / result.at("low_frequency_inductance_h").get<double>(), 1, 2e-5)
            << name;
        // Everything at one potential; collocation leaves about 1e-3.
        EXPECT_NEAR(model->node_capacitance_f().sum() / result.at("whole_capacitance_f").get<double>(), 1, 2e-3)
            << name;
    }
}

}  // namespace
}  // namespace coldtune::model
