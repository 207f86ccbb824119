// Which coils can be built, and what the builder is told of those that cannot.
#include "analyzer/model/geometry.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <initializer_list>
#include <limits>
#include <string>

namespace coldtune::model {
namespace {

CoilDescription good_coil() {
    CoilDescription c;
    c.secondary.diameter_m = 0.11;
    c.secondary.length_m = 0.5;
    c.secondary.turns = 1000;
    c.secondary.wire_diameter_m = 0.4e-3;
    c.secondary.overall_wire_diameter_m = 0.45e-3;
    c.secondary.base_height_m = 0.1;
    c.topload = {Toroid{0.4, 0.1, 0.08}};
    c.surroundings.wall_radius_m = 2;
    c.surroundings.ceiling_height_m = 2.5;
    c.surroundings.strike_ring = Surroundings::StrikeRing{0.6, 0.01, 0.15};
    c.primary = Primary{0.2, 12.7e-3, 10, 6.35e-3, 0, 0.1};
    c.tank = Tank{10e-9, 8.5, 0.2e-6};
    return c;
}

using Change = std::function<void(CoilDescription&)>;

// The error must be bad input, one line, and hold every one of the words.
void expect_refused(const Change& change, std::initializer_list<const char*> words) {
    CoilDescription c = good_coil();
    change(c);
    const Status status = check_geometry(c);
    ASSERT_FALSE(status) << *words.begin();
    EXPECT_EQ(status.error().kind, ErrorKind::bad_input);
    const std::string& message = status.error().message;
    EXPECT_EQ(message.find('\n'), std::string::npos) << message;
    for (const char* word : words) EXPECT_NE(message.find(word), std::string::npos) << word << " in: " << message;
}

void expect_accepted(const Change& change) {
    CoilDescription c = good_coil();
    change(c);
    const Status status = check_geometry(c);
    EXPECT_TRUE(status) << status.error().message;
}

TEST(Geometry, AcceptsTheCoilAllOthersAreMadeFrom) {
    expect_accepted([](CoilDescription&) {});
}

TEST(Geometry, EverySizeRefusesWhatIsNoSize) {
    const std::initializer_list<std::pair<const char*, std::function<void(CoilDescription&, double)>>> sizes = {
        {"secondary.diameter", [](CoilDescription& c, double v) { c.secondary.diameter_m = v; }},
        {"secondary.length", [](CoilDescription& c, double v) { c.secondary.length_m = v; }},
        {"secondary.turns", [](CoilDescription& c, double v) { c.secondary.turns = v; }},
        {"secondary.wire", [](CoilDescription& c, double v) { c.secondary.wire_diameter_m = v; }},
        {"secondary.wire_overall", [](CoilDescription& c, double v) { c.secondary.overall_wire_diameter_m = v; }},
        {"secondary.base_height", [](CoilDescription& c, double v) { c.secondary.base_height_m = v; }},
        {"secondary.temperature", [](CoilDescription& c, double v) { c.secondary.temperature_c = v; }},
        {"topload.outer_diameter",
         [](CoilDescription& c, double v) {
             c.topload = {Toroid{v, 0.1, 0.1}};
         }},
        {"topload.tube_diameter",
         [](CoilDescription& c, double v) {
             c.topload = {Toroid{0.4, v, 0.1}};
         }},
        {"topload.height",
         [](CoilDescription& c, double v) {
             c.topload = {Toroid{0.4, 0.1, v}};
         }},
        {"topload.diameter",
         [](CoilDescription& c, double v) {
             c.topload = {Sphere{v, 0.2}};
         }},
        {"topload.height",
         [](CoilDescription& c, double v) {
             c.topload = {Sphere{0.2, v}};
         }},
        {"topload.diameter",
         [](CoilDescription& c, double v) {
             c.topload = {Disc{v, 0.2}};
         }},
        {"topload.height",
         [](CoilDescription& c, double v) {
             c.topload = {Disc{0.2, v}};
         }},
        {"surroundings.wall_radius", [](CoilDescription& c, double v) { c.surroundings.wall_radius_m = v; }},
        {"surroundings.ceiling_height", [](CoilDescription& c, double v) { c.surroundings.ceiling_height_m = v; }},
        {"surroundings.strike_ring.diameter",
         [](CoilDescription& c, double v) { c.surroundings.strike_ring->diameter_m = v; }},
        {"surroundings.strike_ring.tube_diameter",
         [](CoilDescription& c, double v) { c.surroundings.strike_ring->tube_diameter_m = v; }},
        {"surroundings.strike_ring.height",
         [](CoilDescription& c, double v) { c.surroundings.strike_ring->height_m = v; }},
        {"primary.inner_diameter", [](CoilDescription& c, double v) { c.primary->inner_diameter_m = v; }},
        {"primary.pitch", [](CoilDescription& c, double v) { c.primary->pitch_m = v; }},
        {"primary.turns", [](CoilDescription& c, double v) { c.primary->turns = v; }},
        {"primary.conductor", [](CoilDescription& c, double v) { c.primary->conductor_diameter_m = v; }},
        {"primary.angle", [](CoilDescription& c, double v) { c.primary->angle_deg = v; }},
        {"primary.base_height", [](CoilDescription& c, double v) { c.primary->base_height_m = v; }},
        {"tank.capacitance", [](CoilDescription& c, double v) { c.tank->capacitance_f = v; }},
        {"tank.tap_turns", [](CoilDescription& c, double v) { c.tank->tap_turns = v; }},
        {"tank.lead_inductance", [](CoilDescription& c, double v) { c.tank->lead_inductance_h = v; }},
        {"tolerances.diameter", [](CoilDescription& c, double v) { c.tolerances.diameter_m = v; }},
        {"tolerances.length", [](CoilDescription& c, double v) { c.tolerances.length_m = v; }},
        {"tolerances.turns", [](CoilDescription& c, double v) { c.tolerances.turns = v; }},
        {"tolerances.base_height", [](CoilDescription& c, double v) { c.tolerances.base_height_m = v; }},
        {"tolerances.topload", [](CoilDescription& c, double v) { c.tolerances.topload_relative = v; }},
    };
    constexpr double infinity = std::numeric_limits<double>::infinity();
    for (const auto& [key, set] : sizes) {
        for (const double value : {std::nan(""), infinity, -infinity, -1e9, 1e9}) {
            expect_refused([&change = set, value](CoilDescription& c) { change(c, value); }, {key});
        }
    }
}

TEST(Geometry, StatesTheRangeItAllows) {
    expect_refused([](CoilDescription& c) { c.secondary.diameter_m = 0; },
                   {"secondary.diameter is 0 mm", "between 1 mm and 10 m"});
    expect_refused([](CoilDescription& c) { c.secondary.diameter_m = 110; }, {"secondary.diameter is 110 m"});
    expect_refused([](CoilDescription& c) { c.secondary.turns = 0; }, {"secondary.turns is 0", "between 1 and 100000"});
}

TEST(Geometry, WireMustFitItsPitch) {
    // Pitch 0.5 mm.
    expect_refused([](CoilDescription& c) { c.secondary.wire_diameter_m = 0.6e-3; },
                   {"secondary.wire_overall", "thinner"});
    expect_refused(
        [](CoilDescription& c) {
            c.secondary.overall_wire_diameter_m.reset();
            c.secondary.wire_diameter_m = 0.6e-3;
        },
        {"secondary.wire is 0.6 mm", "pitch of 0.5 mm", "secondary.length", "600 mm"});
    expect_refused([](CoilDescription& c) { c.secondary.overall_wire_diameter_m = 0.55e-3; },
                   {"secondary.turns do not fit", "secondary.wire_overall", "550 mm", "500 mm"});
    // Touching turns, worked out in decimal: 1000 x 0.5 mm = 500 mm.
    expect_accepted([](CoilDescription& c) {
        c.secondary.overall_wire_diameter_m.reset();
        c.secondary.wire_diameter_m = 0.5e-3;
    });
    expect_refused(
        [](CoilDescription& c) {
            c.secondary.diameter_m = 5e-3;
            c.secondary.turns = 10;
            c.secondary.wire_diameter_m = 4e-3;
            c.secondary.overall_wire_diameter_m.reset();
            c.topload.clear();
        },
        {"secondary.wire", "half of secondary.diameter"});
}

TEST(Geometry, TopLoadMayNotRunThroughTheWinding) {
    // Tube section centred on the wire's radius at 55 mm: tube radius 50 mm.
    expect_refused(
        [](CoilDescription& c) {
            c.topload = {Toroid{0.21, 0.1, 0.03}};
        },
        {"topload.height 30 mm", "toroid", "winding", "50 mm"});
    expect_accepted([](CoilDescription& c) { c.topload = {Toroid{0.21, 0.1, 0.051}}; });
    // A sphere sits on the inner edge of the wire, 54.775 mm out: clear from sqrt(100^2 - 54.775^2) = 83.66 mm on.
    expect_refused(
        [](CoilDescription& c) {
            c.topload = {Sphere{0.2, 0.05}};
        },
        {"topload.height 50 mm", "sphere", "83.66 mm"});
    expect_accepted([](CoilDescription& c) { c.topload = {Sphere{0.2, 0.084}}; });
    expect_refused([](CoilDescription& c) { c.topload = {Disc{0.3, -0.01}}; }, {"topload.height -10 mm", "disc"});
    expect_accepted([](CoilDescription& c) { c.topload = {Disc{0.3, 0}}; });
    // A disc small enough for the bore is not in the way.
    expect_accepted([](CoilDescription& c) { c.topload = {Disc{0.08, -0.01}}; });
}

TEST(Geometry, AToroidMaySurroundTheTopEndIfItsHoleIsWideEnough) {
    // Hole 0.2 m, coil 0.11 m.
    expect_accepted([](CoilDescription& c) { c.topload = {Toroid{0.4, 0.1, -0.05}}; });
    // Hole 0.1 m.
    expect_refused([](CoilDescription& c) { c.topload = {Toroid{0.3, 0.1, -0.05}}; }, {"topload.height", "winding"});
}

TEST(Geometry, AToroidKeepsAHole) {
    expect_refused(
        [](CoilDescription& c) {
            c.topload = {Toroid{0.4, 0.21, 0.3}};
        },
        {"topload.tube_diameter", "half of topload.outer_diameter"});
    expect_refused(
        [](CoilDescription& c) {
            c.topload = {Toroid{0.4, 0.2, 0.3}};
        },
        {"topload.tube_diameter", "hole is closed", "thinner than"});
    expect_accepted([](CoilDescription& c) { c.topload = {Toroid{0.4, 0.1995, 0.3}}; });
}

TEST(Geometry, AWindingIsNoStraightWire) {
    expect_refused([](CoilDescription& c) { c.secondary.diameter_m = c.secondary.length_m / 250; },
                   {"secondary.length", "times secondary.diameter"});
    expect_refused([](CoilDescription& c) { c.secondary.turns = 2; }, {"secondary.turns", "apart", "not a winding"});
}

// Turns, length and wire are each good to a per cent: a close winding must not be refused for that.
TEST(Geometry, ACloseWindingMayAskForALittleMoreRoom) {
    const auto close = [](double share) {
        return [share](CoilDescription& c) {
            c.secondary.wire_diameter_m = share * c.secondary.length_m / c.secondary.turns;
            c.secondary.overall_wire_diameter_m.reset();
        };
    };
    expect_accepted(close(1.015));
    expect_refused(close(1.03), {"secondary.wire", "thicker than the pitch"});
}

TEST(Geometry, StackedBodiesMayTouchButNotCoincide) {
    expect_accepted([](CoilDescription& c) { c.topload = {Toroid{0.4, 0.1, 0.08}, Sphere{0.2, 0.23}}; });
    expect_accepted([](CoilDescription& c) { c.topload = {Toroid{0.4, 0.1, 0.08}, Disc{0.3, 0.08}}; });
    expect_refused(
        [](CoilDescription& c) {
            c.topload = {Toroid{0.4, 0.1, 0.08}, Toroid{0.4, 0.1, 0.08}};
        },
        {"topload[1]", "same place as topload[0]"});
    expect_refused([](CoilDescription& c) { c.topload = {Disc{0.3, 0.08}, Disc{0.2, 0.08}}; }, {"topload[1]"});
    expect_refused([](CoilDescription& c) { c.topload = {Disc{0.3, 0.08}, Sphere{0.2, 0.01}}; }, {"topload[1].height"});
}

TEST(Geometry, NothingLiesUnderTheGround) {
    expect_refused([](CoilDescription& c) { c.secondary.base_height_m = -0.01; }, {"secondary.base_height"});
    expect_accepted([](CoilDescription& c) { c.secondary.base_height_m = 0; });
    // A wide toroid hung around the coil down to the floor.
    expect_refused([](CoilDescription& c) { c.topload = {Toroid{0.5, 0.1, -0.58}}; }, {"topload.height", "ground"});
    expect_refused([](CoilDescription& c) { c.primary->base_height_m = 0.003; }, {"primary.base_height", "ground"});
    expect_refused([](CoilDescription& c) { c.surroundings.strike_ring->height_m = 0.004; },
                   {"surroundings.strike_ring.height", "ground"});
    // Without a ground there is no under.
    expect_accepted([](CoilDescription& c) {
        c.surroundings.ground = false;
        c.secondary.base_height_m = -0.01;
        c.primary->base_height_m = -0.01;
    });
}

TEST(Geometry, TheRoomHoldsTheCoil) {
    expect_refused([](CoilDescription& c) { c.surroundings.wall_radius_m = 0.05; },
                   {"surroundings.wall_radius", "winding"});
    expect_refused([](CoilDescription& c) { c.surroundings.wall_radius_m = 0.15; },
                   {"surroundings.wall_radius", "toroid"});
    expect_refused(
        [](CoilDescription& c) {
            c.surroundings.strike_ring.reset();
            c.surroundings.wall_radius_m = 0.21;
        },
        {"surroundings.wall_radius", "primary"});
    expect_refused([](CoilDescription& c) { c.surroundings.wall_radius_m = 0.29; },
                   {"surroundings.wall_radius", "strike ring"});
    expect_refused([](CoilDescription& c) { c.surroundings.ceiling_height_m = 0.5; },
                   {"surroundings.ceiling_height", "winding"});
    expect_refused([](CoilDescription& c) { c.surroundings.ceiling_height_m = 0.7; },
                   {"surroundings.ceiling_height", "toroid", "730 mm"});
}

TEST(Geometry, StrikeRingAndPrimaryKeepClear) {
    expect_refused([](CoilDescription& c) { c.surroundings.strike_ring->diameter_m = 0.12; },
                   {"surroundings.strike_ring", "secondary winding"});
    expect_refused(
        [](CoilDescription& c) {
            *c.surroundings.strike_ring = {0.4, 0.02, 0.68};
        },
        {"surroundings.strike_ring", "toroid"});
    expect_refused(
        [](CoilDescription& c) {
            *c.surroundings.strike_ring = {0.42, 0.01, 0.1};
        },
        {"primary", "surroundings.strike_ring"});
    expect_refused([](CoilDescription& c) { c.primary->inner_diameter_m = 0.113; }, {"primary", "secondary winding"});
    // Inside the bore it is clear again; across it, it is not.
    expect_accepted([](CoilDescription& c) {
        c.primary = Primary{0.08, 12.7e-3, 5, 6.35e-3, 90, 0.15};
        c.tank->tap_turns = 4;
    });
    expect_refused([](CoilDescription& c) { c.primary = Primary{0.08, 12.7e-3, 5, 6.35e-3, 0, 0.15}; },
                   {"primary", "secondary winding", "primary.inner_diameter"});
    // Turns on either side of the wire do not help a spiral through it: between them it crosses.
    expect_refused([](CoilDescription& c) { c.primary = Primary{0.1, 12.7e-3, 2, 2e-3, 0, 0.15}; },
                   {"primary runs into the secondary winding"});
    // A cone that opens past the toroid, and one so steep that it climbs into it.
    expect_accepted([](CoilDescription& c) { c.primary = Primary{0.3, 40e-3, 10, 6e-3, 30, 0.4}; });
    expect_refused([](CoilDescription& c) { c.primary = Primary{0.3, 40e-3, 10, 6e-3, 85, 0.5}; },
                   {"primary runs into the toroid (topload)"});
    // The same spiral below the foot of the winding.
    expect_accepted([](CoilDescription& c) {
        c.primary = Primary{0.08, 12.7e-3, 5, 6.35e-3, 0, 0.05};
        c.tank->tap_turns = 4;
    });
    expect_refused([](CoilDescription& c) { c.primary->conductor_diameter_m = 13e-3; },
                   {"primary.conductor", "primary.pitch"});
}

TEST(Geometry, ATapNeedsATurnToSitOn) {
    expect_refused([](CoilDescription& c) { c.tank->tap_turns = 10.5; },
                   {"tank.tap_turns is 10.5", "primary.turns (10)"});
    expect_refused([](CoilDescription& c) { c.primary.reset(); }, {"tank.tap_turns", "no primary"});
    expect_accepted([](CoilDescription& c) { c.tank->tap_turns = 10; });
}

}  // namespace
}  // namespace coldtune::model
