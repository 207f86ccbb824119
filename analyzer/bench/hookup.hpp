// How the bench is wired for one capture: what hangs where, what it is for, what to beware of.
#pragma once

#include <optional>
#include <span>
#include <string_view>

namespace coldtune::bench {

enum class Hookup {
    foot,           // reference resistor to the foot of the secondary, head free: the main one
    winding,        // resistor to the foot, head tied to the return
    pickup,         // generator on the foot, input 2 a short bare wire near the head
    tank,           // resistor to the primary with its capacitor, gap bridged
    open,           // standard: lead in place, nothing connected
    short_circuit,  // standard: lead clipped to the return
    load,           // standard: a known resistor in place of the coil
    loopback,       // both inputs on the generator
};

struct HookupText {
    Hookup hookup;
    std::string_view name;                       // as typed: foot, winding, ..., short, ...
    std::string_view purpose;                    // one sentence
    std::string_view wiring;                     // a drawn picture, several lines, plain ASCII
    std::span<const std::string_view> cautions;  // what can hurt somebody or something in this hookup
};

const HookupText& describe(Hookup hookup);
std::span<const HookupText> all_hookups();
std::optional<Hookup> hookup_from_name(std::string_view name);

// Whether a resonance is what this hookup is for (the standards and the loopback have none).
bool seeks_resonance(Hookup hookup);

// Design section 10: said before every sweep on real hardware.
std::span<const std::string_view> general_cautions();
// Said before any power-up.
std::span<const std::string_view> before_power_reminders();

}  // namespace coldtune::bench
