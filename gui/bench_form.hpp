// The bench as the user sets it: interface, wiring, the values of resistor and inputs, as typed.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/session.hpp"
#include "gui/coil_form.hpp"

namespace coldtune::gui {

// The one device every machine has.
inline constexpr std::string_view kSimulated = "simulated";

// How the coil stands while it is measured. Not remembered over a day: a forgotten one would
// make a wrong description.
enum class Standing {
    described,       // as step 1 says, primary open
    bare,            // its top load taken off
    tank_closed,     // gap bridged: both circuits, at the foot
    primary_shorted  // at the winding: for the coupling
};

struct BenchForm {
    std::string device{kSimulated};
    double sample_rate_hz = 192000;
    bench::Hookup hookup = bench::Hookup::foot;
    Standing secondary = Standing::described;
    int output_channel = 0;  // 0-based
    int generator_input = 0;
    int coil_input = 1;
    std::map<std::string, std::string, std::less<>> text = {
        {"bench.reference", "10k"}, {"bench.input_resistance", "1M"}, {"bench.input_capacitance", "160pF"},
        {"bench.load", "10k"},      {"bench.output_peak", "11V"},     {"bench.head_limit", "60V"},
        {"bench.level", "-6"}};
    [[nodiscard]] bool simulated() const { return device == kSimulated; }
    // `secondary`, where the hookup lets it mean something.
    [[nodiscard]] Standing standing() const {
        if (hookup == bench::Hookup::foot && secondary != Standing::primary_shorted) return secondary;
        if (hookup == bench::Hookup::winding && secondary == Standing::primary_shorted) return secondary;
        return hookup == bench::Hookup::pickup && secondary == Standing::bare ? secondary : Standing::described;
    }
    friend bool operator==(const BenchForm&, const BenchForm&) = default;
};

std::span<const FieldSpec> bench_fields();
const FieldSpec* find_bench_field(std::string_view key);

struct BenchReading {
    std::optional<measure::SessionSettings> settings;  // when every field can be read
    std::map<std::string, std::string, std::less<>> complaints;
};
BenchReading read(const BenchForm& form);

// "as described", "top load off", "tank closed", "primary shorted".
std::string_view standing_words(Standing standing);
// What to mind besides the hookup's own cautions: whoever clips to the tank has all or the first of the tank's.
std::span<const std::string_view> standing_cautions(Standing standing);

// "input 2 of Scarlet": what the pictures and sentences call a channel.
std::string channel_name(const BenchForm& form, bool output, int channel);

}  // namespace coldtune::gui
