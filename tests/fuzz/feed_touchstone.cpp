#include "analyzer/share/touchstone.hpp"
#include "tests/fuzz/readers.hpp"
#include "tests/fuzz/require_curve.hpp"

namespace coldtune::fuzz {

void feed_touchstone(std::string_view bytes) {
    const auto curve = share::parse_touchstone(bytes, "fuzz.s1p");
    if (!curve) {
        require_refusal(curve.error());
        return;
    }
    require_curve(*curve);
    // Version 2 in hertz and ohms keeps every double.
    const auto text =
        share::touchstone_text(*curve, {share::TouchstoneVersion::v2_0, share::NetworkParameter::impedance, 50}, {});
    require(text.ok(), "a curve that was read can be written");
    const auto again = share::parse_touchstone(*text, "again.ts");
    require(again.ok(), "a written curve can be read: " + (again ? "" : again.error().message));
    require(again->frequency_hz == curve->frequency_hz && again->impedance_ohm == curve->impedance_ohm,
            "a curve comes back unchanged");
}

}  // namespace coldtune::fuzz
