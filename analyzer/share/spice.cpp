#include "analyzer/share/spice.hpp"

#include <fmt/format.h>

namespace coldtune::share {
namespace {

struct Deck {
    std::string name, parts;
};

Deck deck_of(const FootCircuit& c) {
    std::string parts = fmt::format("Rcoil port n1 {}\nLcoil n1 n2 {}\nCcoil n2 return {}\n", c.resistance_ohm,
                                    c.inductance_h, c.capacitance_f);
    if (c.beside_f > 0) parts += fmt::format("Cbeside port return {}\n", c.beside_f);
    return {"secondary_foot", std::move(parts)};
}

Deck deck_of(const TankCircuit& c) {
    std::string parts, from = "port";
    if (c.lead_resistance_ohm > 0) {
        parts += fmt::format("Rlead {} n1 {}\n", from, c.lead_resistance_ohm);
        from = "n1";
    }
    if (c.lead_inductance_h > 0) {
        parts += fmt::format("Llead {} n2 {}\n", from, c.lead_inductance_h);
        from = "n2";
    }
    parts += fmt::format("Lprimary {0} n3 {1}\nRprimary n3 return {2}\nCtank {0} return {3}\n", from, c.inductance_h,
                         c.resistance_ohm, c.capacitance_f);
    return {"tank", std::move(parts)};
}

Deck deck_of(const WindingCircuit& c) {
    std::string parts = fmt::format("Lwinding port n1 {}\nRwinding n1 return {}\n", c.inductance_h, c.resistance_ohm);
    if (c.own_capacitance_f > 0) parts += fmt::format("Cown port return {}\n", c.own_capacitance_f);
    return {"winding", std::move(parts)};
}

}  // namespace

std::string spice_text(const Equivalent& e, std::span<const std::string> comments) {
    const Deck deck = std::visit([](const auto& circuit) { return deck_of(circuit); }, e.circuit);
    // The first line is the title, whatever it holds.
    std::string out = fmt::format("* {}: equivalent circuit of a measured coil\n", deck.name);
    for (const std::string& line : comments) out += fmt::format("* {}\n", line);
    for (const std::string& line : e.remarks) out += fmt::format("* {}\n", line);
    out += "* Good around the one resonance and below it; ohm, henry, farad\n";
    out += fmt::format(".subckt {} port return\n{}.ends {}\n", deck.name, deck.parts, deck.name);
    out += "* One volt drives it: the current of V1, with its sign turned, is the admittance in siemens\n";
    out += fmt::format("V1 port 0 DC 0 AC 1\nX1 port 0 {}\n.ac lin 2001 {} {}\n.print ac i(V1)\n.end\n", deck.name,
                       e.low_hz, e.high_hz);
    return out;
}

}  // namespace coldtune::share
