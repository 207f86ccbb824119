#include "gui/pictures.hpp"

#include <fmt/format.h>

namespace coldtune::gui {

WiringNames wiring_names(const BenchForm& bench) {
    WiringNames names;
    names.output = channel_name(bench, true, bench.output_channel);
    names.generator_input = channel_name(bench, false, bench.generator_input);
    names.coil_input = channel_name(bench, false, bench.coil_input);
    const auto ohms = [&](std::string_view key) {
        const auto found = bench.text.find(key);
        const std::string text = found == bench.text.end() ? "" : found->second;
        const auto value = record::parse_quantity(text, record::Unit::ohm);
        // Typed values are often short; what was typed is what is shown, with its unit. No resistor has a value of 0 or
        // less.
        if (!value || !(*value > 0)) return std::string("?");
        return fmt::format("{:.4g} {}\u2126",
                           *value >= 1e6   ? *value / 1e6
                           : *value >= 1e3 ? *value / 1e3
                                           : *value,
                           *value >= 1e6   ? "M"
                           : *value >= 1e3 ? "k"
                                           : "");
    };
    names.reference = ohms("bench.reference");
    names.load = ohms("bench.load");
    return names;
}

WiringStands wiring_stands(const State& state) {
    WiringStands stands;
    const auto coil = state.standing_coil();
    stands.topload = coil ? !coil->topload.empty() : state.bench.standing() != Standing::bare;
    if (state.bench.standing() == Standing::tank_closed) stands.primary = WiringStands::Primary::tank_closed;
    if (state.bench.standing() == Standing::primary_shorted) stands.primary = WiringStands::Primary::shorted;
    return stands;
}

}  // namespace coldtune::gui
