#include "analyzer/share/response_csv.hpp"
#include "tests/fuzz/readers.hpp"
#include "tests/fuzz/require_curve.hpp"

namespace coldtune::fuzz {

void feed_table(std::string_view bytes) {
    const auto curve = share::parse_csv(bytes, "fuzz.csv");
    if (!curve) {
        require_refusal(curve.error());
        return;
    }
    require_curve(*curve);
    const auto text = share::csv_text(*curve);
    require(text.ok(), "a curve that was read can be written");
    const auto again = share::parse_csv(*text, "again.csv");
    require(again.ok(), "a written curve can be read: " + (again ? "" : again.error().message));
    require(again->frequency_hz == curve->frequency_hz && again->impedance_ohm == curve->impedance_ohm,
            "a curve comes back unchanged");
}

}  // namespace coldtune::fuzz
