#include "analyzer/bench/hookup.hpp"

#include <algorithm>
#include <array>

namespace coldtune::bench {
namespace {

using std::string_view;

constexpr std::array<string_view, 4> kGeneral = {
    "Unplug and remove the high-voltage supply; discharge the tank capacitor and short it before touching anything.",
    "Everything here works at line level on an unpowered coil. Nothing may be able to energise it meanwhile.",
    "Even at line level the head of a high-Q coil can reach tens to hundreds of volts: never clip an input to it.",
    "Follow the local electrical codes; mains and high-voltage work belongs to qualified people.",
};
constexpr std::array<string_view, 4> kBeforePower = {
    "Remove the clip lead that bridges the gap.",
    "Take off every measuring lead, resistor and capacitor.",
    "Disconnect the audio interface and move it and the computer away.",
    "Only then may a qualified person restore the supply, following the local electrical codes.",
};
constexpr std::array<string_view, 2> kFoot = {
    "The head stays free: no lead, probe or hand near it while sweeping.",
    "The return is the ground that the coil will stand on; clip it before the foot.",
};
constexpr std::array<string_view, 2> kWinding = {
    "Untie the head from the return afterwards; a tied head is dangerous under power.",
    "For the coupling short the primary with a short thick strap, and take it off: half a metre of lead hides 1 %.",
};
constexpr std::array<string_view, 3> kPickup = {
    "The pickup wire touches nothing; keep it at least a hand's breadth from the head.",
    "Reference resistor 100 ohm to 1 kohm: behind more, the lead's own capacitance at the foot bends the curve.",
    "Raise the level slowly: the voltage on the head is many times that of the generator.",
};
constexpr std::array<string_view, 3> kTank = {
    "High-voltage side removed, tank capacitor discharged and shorted before any lead is clipped.",
    "Bridge the gap with the clip lead for this check only, and REMOVE the bridge afterwards.",
    "A tank capacitor can regain charge by itself: keep its shorting lead on until the sweep, put it back after.",
};
constexpr std::array<string_view, 1> kStandard = {
    "Do not move the lead between a standard and the coil: the standard describes the lead where it lies.",
};

constexpr string_view kFootPicture =
    "                       reference R\n"
    "  line out o----+-------[ 10k ]-------+------> foot of the secondary\n"
    "                |                     |            )\n"
    "  input 1  o----+                     |            )  winding, head free\n"
    "                                      |            )  (with or without top load)\n"
    "  input 2  o--------------------------+            |\n"
    "                                                  (_)  top load\n"
    "  return   o---------------------------------> ground under the coil\n";
constexpr string_view kWindingPicture =
    "                       reference R\n"
    "  line out o----+-------[ 1k ]--------+------> foot of the secondary\n"
    "  input 1  o----+                     |            )\n"
    "  input 2  o--------------------------+            )  winding\n"
    "                                                   )\n"
    "  return   o----+---------------------------> head, tied with a short lead\n"
    "                +---------------------------> ground under the coil\n";
constexpr string_view kPickupPicture =
    "                       reference R\n"
    "  line out o----+-------[ 1k ]---------------> foot of the secondary\n"
    "  input 1  o----+                                  )\n"
    "                                                   )  winding\n"
    "  input 2  o-------- short bare wire ---|         (_)  top load, a hand's breadth away\n"
    "  return   o---------------------------------> ground under the coil\n";
constexpr string_view kTankPicture =
    "                       reference R\n"
    "  line out o----+-------[ 1k ]--------+------+\n"
    "  input 1  o----+                     |      |   primary\n"
    "  input 2  o--------------------------+      +---((((((---+--- tap\n"
    "                                             |            |\n"
    "                                             +----||------+   tank capacitor,\n"
    "  return   o---------------------------------------------+    gap bridged by the clip lead\n";
constexpr string_view kOpenPicture =
    "                       reference R\n"
    "  line out o----+-------[ 10k ]-------+------> clip lies where the foot is, touching nothing\n"
    "  input 1  o----+                     |\n"
    "  input 2  o--------------------------+\n"
    "  return   o---------------------------------> ground under the coil\n";
constexpr string_view kShortPicture =
    "                       reference R\n"
    "  line out o----+-------[ 10k ]-------+------> clip on ...\n"
    "  input 1  o----+                     |             |\n"
    "  input 2  o--------------------------+             |\n"
    "  return   o----------------------------------------+ ... the return\n";
constexpr string_view kLoadPicture =
    "                       reference R\n"
    "  line out o----+-------[ 10k ]-------+------> clip --[ known resistor ]--+\n"
    "  input 1  o----+                     |                                   |\n"
    "  input 2  o--------------------------+                                   |\n"
    "  return   o--------------------------------------------------------------+\n";
constexpr string_view kLoopbackPicture =
    "  line out o----+\n"
    "  input 1  o----+\n"
    "  input 2  o----+\n"
    "  return   o----- (common)\n";

constexpr std::array<HookupText, 8> kHookups = {{
    {Hookup::foot, "foot", "Resonance and Q of the secondary as it stands, seen from its foot.", kFootPicture, kFoot},
    {Hookup::winding, "winding",
     "Inductance and resistance of the winding; with the primary shorted or open, coupling.", kWindingPicture,
     kWinding},
    {Hookup::pickup, "pickup", "Resonance heard on a wire near the head, the foot driven through 1 kohm.",
     kPickupPicture, kPickup},
    {Hookup::tank, "tank", "Resonance of the primary with its capacitor, gap bridged.", kTankPicture, kTank},
    {Hookup::open, "open", "Standard: what the lead and the input load by themselves.", kOpenPicture, kStandard},
    {Hookup::short_circuit, "short", "Standard: what the lead adds in series.", kShortPicture, kStandard},
    {Hookup::load, "load", "Standard: a known resistor sets the scale.", kLoadPicture, kStandard},
    {Hookup::loopback, "loopback", "Both inputs on the generator: shows how alike they are.", kLoopbackPicture,
     kStandard},
}};

}  // namespace

const HookupText& describe(Hookup hookup) {
    return *std::find_if(kHookups.begin(), kHookups.end(), [&](const HookupText& t) { return t.hookup == hookup; });
}

std::span<const HookupText> all_hookups() {
    return kHookups;
}

std::optional<Hookup> hookup_from_name(std::string_view name) {
    for (const HookupText& t : kHookups) {
        if (t.name == name) return t.hookup;
    }
    return std::nullopt;
}

bool seeks_resonance(Hookup hookup) {
    switch (hookup) {
        case Hookup::foot:
        case Hookup::winding:
        case Hookup::pickup:
        case Hookup::tank:
            return true;
        case Hookup::open:
        case Hookup::short_circuit:
        case Hookup::load:
        case Hookup::loopback:
            return false;
    }
    return false;
}

std::span<const std::string_view> general_cautions() {
    return kGeneral;
}
std::span<const std::string_view> before_power_reminders() {
    return kBeforePower;
}

}  // namespace coldtune::bench
