// A measurement far from its calculation belongs to another circuit: said, never silent.
#include "analyzer/measure/description_check.hpp"

#include <gtest/gtest.h>

namespace coldtune {
namespace {

measure::MeasurementResult result(bench::Hookup hookup, measure::Way way, double measured_hz, double calculated_hz) {
    measure::MeasurementResult r;
    r.hookup = hookup;
    measure::Resonance resonance;
    resonance.way = way;
    resonance.frequency_hz = measured_hz;
    measure::Accepted accepted;
    accepted.resonance = resonance;
    r.outcome = accepted;
    model::Calculated calculated;
    calculated.frequency_hz = calculated_hz;
    calculated.frequency_u95_hz = 0.03 * calculated_hz;
    r.calculated = calculated;
    return r;
}

TEST(DescriptionCheck, ATankLeftClosedOrAForgottenTopLoadIsSaid) {
    using bench::Hookup;
    using measure::Way;
    // A tank closed at the foot was seen to leave -64 %.
    for (const double measured_hz : {36e3, 74e3, 126e3, 300e3}) {
        for (const Hookup hookup : {Hookup::foot, Hookup::pickup}) {
            const auto finding = judge_difference(result(hookup, Way::in_band, measured_hz, 100e3));
            ASSERT_TRUE(finding) << measured_hz;
            EXPECT_EQ(finding->weight, measure::Weight::caution);
        }
    }
    for (const double measured_hz : {76e3, 97e3, 124e3}) {
        EXPECT_FALSE(judge_difference(result(Hookup::foot, Way::in_band, measured_hz, 100e3))) << measured_hz;
    }
    // A tank is tuned by its capacitor; the fit below the band judges itself.
    EXPECT_FALSE(judge_difference(result(Hookup::tank, Way::in_band, 36e3, 100e3)));
    EXPECT_FALSE(judge_difference(result(Hookup::foot, Way::below_band, 36e3, 100e3)));
}

TEST(DescriptionCheck, AWideCalculatedIntervalIsNotHeldAgainstTheCoil) {
    auto r = result(bench::Hookup::foot, measure::Way::in_band, 70e3, 100e3);
    r.calculated->frequency_u95_hz = 12e3;
    EXPECT_FALSE(judge_difference(r));
}

}  // namespace
}  // namespace coldtune
