// The few points of a response that the book itself holds.
#pragma once

#include <optional>

#include "analyzer/book/book.hpp"
#include "analyzer/measure/result.hpp"

namespace coldtune::book {

// Bins of the response as they are, none pooled or interpolated: half of them evenly over the logarithm of frequency,
// half evenly within four bandwidths of the resonance where there is one in the band; all of them when they are few.
// nullopt for a result without a curve. Bins whose numbers are not finite are left out.
std::optional<ResponseOutline> outline_of(const measure::MeasurementResult& result);

}  // namespace coldtune::book
