// Another capacitor in place of another tap.
#pragma once

#include <optional>

namespace coldtune::tuning {

// Frequencies go with 1/sqrt(C): what must stand in the tank so that it moves from one to the other. Farad, hertz.
struct CapacitorChange {
    double needed_f = 0;                 // in all
    double change_f = 0;                 // needed less present; positive: a capacitor in parallel does it
    std::optional<double> preferred_f;   // the preferred value (E12, IEC 60063) nearest to that, in parallel
    std::optional<double> preferred_hz;  // the tank with it
    std::optional<double> series_f;      // where less is needed: the capacitor in series that does it
};

// All > 0. No preferred value is named where none comes nearer than leaving the tank as it is.
CapacitorChange capacitor_change(double capacitance_f, double present_hz, double target_hz);

}  // namespace coldtune::tuning
