#include "analyzer/cli/band_option.hpp"

#include <fmt/format.h>

#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {

Result<dsp::Band> parse_band(std::string_view text) {
    const std::string shown = record::one_line(text, 40);
    const auto colon = text.find(':');
    if (colon == std::string_view::npos) {
        return usage_error(fmt::format("'{}' is no band; write lowest:highest, e.g. 1k:86k", shown));
    }
    const auto low = record::parse_quantity(text.substr(0, colon), record::Unit::hertz);
    if (!low) return usage_error(low.error().message);
    const auto high = record::parse_quantity(text.substr(colon + 1), record::Unit::hertz);
    if (!high) return usage_error(high.error().message);
    if (!(*low > 0 && *low < *high)) {
        return usage_error(fmt::format("band {}: the lower edge must be above 0 and below the upper one", shown));
    }
    return dsp::Band{*low, *high};
}

}  // namespace coldtune::cli
