#include <cmath>

#include "analyzer/cli/band_option.hpp"
#include "analyzer/record/quantity.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_quantity(std::string_view bytes) {
    using record::Unit;
    for (int u = static_cast<int>(Unit::none); u <= static_cast<int>(Unit::degree); ++u) {
        const auto unit = static_cast<Unit>(u);
        const auto value = record::parse_quantity(bytes, unit);
        if (!value) {
            require_refusal(value.error());
            continue;
        }
        require(std::isfinite(*value), "a quantity is a number");
        for (const bool unicode : {false, true}) {
            const std::string text = record::format_quantity(*value, unit, 17, unicode);
            const auto again = record::parse_quantity(text, unit);
            require(again.ok() && *again == *value, "a printed quantity reads back to the same double: " + text);
            require(!record::format_with_uncertainty(*value, std::abs(*value) / 7, unit, unicode).empty(),
                    "a quantity with its uncertainty has a text");
        }
    }
    if (const auto band = cli::parse_band(bytes)) {
        require(band->low_hz > 0 && band->low_hz < band->high_hz, "a band has a lower and a higher edge");
    } else {
        require_refusal(band.error());
    }
}

}  // namespace coldtune::fuzz
