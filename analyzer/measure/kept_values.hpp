// The values of a kept result, each from its own object (internal to kept_*.cpp). What is wrong is in the reader after.
#pragma once

#include "analyzer/measure/kept_reader.hpp"
#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

Resonance resonance_of(KeptReader& reader, const record::Json& json);
WindingValue winding_of(KeptReader& reader, const record::Json& json);
Coupling coupling_of(KeptReader& reader, const record::Json& json);
TankValue tank_of(KeptReader& reader, const record::Json& json);
Pair pair_of(KeptReader& reader, const record::Json& json);
model::Calculated calculated_of(KeptReader& reader, const record::Json& json);
model::TankCalculated calculated_tank_of(KeptReader& reader, const record::Json& json);
// Columns of one length, frequencies that rise.
Curve curve_of(KeptReader& reader, const record::Json& json);

}  // namespace coldtune::measure
