// What a tank's resonance tells about its parts.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "analyzer/measure/series_fit.hpp"

namespace coldtune::measure {

// In-band: L = 1 / (w^2 C) with the described capacitor, and the resistance w L / Q in series with it.
TankValue tank_value(const Resonance& resonance, const model::TankCalculated& described);

// From a loading series: both measured. nullopt when the straight line knows no own capacitance.
std::optional<TankValue> tank_value(const SeriesEstimate& straight_line);

struct TankLoss {
    double q = 0, q_u95 = 0;
};
// Q of the tank as it stands from those under added capacitors: R = w L / Q goes with a power of the frequency, which
// is free around the half of the skin effect (standard uncertainty 1/4: from none at direct current to what dielectrics
// add; common practice, no source), and is followed from the loaded resonances to the unloaded one. nullopt where a
// resonance has no Q.
std::optional<TankLoss> tank_loss(const std::vector<Resonance>& loaded, double frequency_hz, double frequency_u95_hz);

}  // namespace coldtune::measure
