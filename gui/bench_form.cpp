#include "gui/bench_form.hpp"

#include <fmt/format.h>

#include <array>

namespace coldtune::gui {
namespace {

using record::Unit;

constexpr std::array<FieldSpec, 7> kFields = {{
    {"bench.reference", "Reference resistor", "Between generator and coil; 10k suits most, 1 % or better.", Unit::ohm,
     false, 0, 0},
    {"bench.level", "Level / dBFS", "Peak; 0 is full scale, -6 a good start.", Unit::decibel, false, -60, 0},
    {"bench.input_resistance", "Input resistance", "Of the coil side's input, from its data sheet.", Unit::ohm, false,
     0, 0},
    {"bench.input_capacitance", "Input and cable", "Capacitance of that input and its cable, about 100 pF a metre.",
     Unit::farad, false, 0, 0},
    {"bench.load", "Load standard", "The known resistor, measured or 0.1 %.", Unit::ohm, false, 0, 0},
    {"bench.output_peak", "Output at full scale", "Peak, at 0 dBFS. 11 V is a line output of +20 dBu.", Unit::volt,
     false, 0, 0},
    {"bench.head_limit", "Most on the head", "Peak. A sweep that would put more there is refused.", Unit::volt, false,
     0, 0},
}};

}  // namespace

std::span<const FieldSpec> bench_fields() {
    return kFields;
}

const FieldSpec* find_bench_field(std::string_view key) {
    for (const FieldSpec& f : kFields) {
        if (f.key == key) return &f;
    }
    return nullptr;
}

BenchReading read(const BenchForm& form) {
    BenchReading reading;
    std::map<std::string, double, std::less<>> value;
    for (const FieldSpec& f : kFields) {
        const auto found = form.text.find(f.key);
        const std::string text = found == form.text.end() ? std::string() : found->second;
        const auto quantity = record::parse_quantity(text, f.unit);
        const std::string key(f.key);
        if (!quantity) {
            reading.complaints[key] = text.empty() ? std::string("still empty") : quantity.error().message;
            continue;
        }
        value[key] = *quantity;
        if (f.unit == Unit::ohm && !(*quantity > 0)) reading.complaints[key] = "needs to be more than 0";
        if (f.unit == Unit::volt && !(*quantity > 0)) reading.complaints[key] = "needs to be more than 0";
        if (f.unit == Unit::farad && *quantity < 0) reading.complaints[key] = "needs to be 0 or more";
    }
    if (const auto level = value.find("bench.level"); level != value.end()) {
        if (!(level->second <= 0 && level->second >= -60)) {
            reading.complaints["bench.level"] = "needs to lie between -60 and 0; -6 is a good start";
        }
    }
    if (form.generator_input == form.coil_input) {
        reading.complaints["bench.channels"] = "Generator side and coil side need different inputs.";
    }
    if (!reading.complaints.empty()) return reading;

    measure::SessionSettings s;
    s.device = form.device;
    s.sample_rate_hz = form.sample_rate_hz;
    s.hookup = form.hookup;
    s.bench.reference_ohm = value["bench.reference"];
    s.bench.input_resistance_ohm = value["bench.input_resistance"];
    s.bench.input_capacitance_f = value["bench.input_capacitance"];
    s.bench.load_ohm = value["bench.load"];
    s.level_dbfs = value["bench.level"];
    s.head = {value["bench.output_peak"], value["bench.head_limit"]};
    s.output_channel = static_cast<std::size_t>(form.output_channel);
    s.generator_input = static_cast<std::size_t>(form.generator_input);
    s.coil_input = static_cast<std::size_t>(form.coil_input);
    reading.settings = s;
    return reading;
}

std::string_view standing_words(Standing standing) {
    switch (standing) {
        case Standing::described:
            return "as described";
        case Standing::bare:
            return "top load off";
        case Standing::tank_closed:
            return "tank closed";
        case Standing::primary_shorted:
            return "primary shorted";
    }
    return "";
}

std::span<const std::string_view> standing_cautions(Standing standing) {
    const auto tank = bench::describe(bench::Hookup::tank).cautions;
    if (standing == Standing::tank_closed) return tank;
    if (standing == Standing::primary_shorted) return tank.first(1);
    return {};
}

std::string channel_name(const BenchForm& form, bool output, int channel) {
    const char* what = output ? "output" : "input";
    return form.simulated() ? fmt::format("{} {}", what, channel + 1)
                            : fmt::format("{} {} of {}", what, channel + 1, form.device);
}

}  // namespace coldtune::gui
