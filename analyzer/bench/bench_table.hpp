// A pair of transfer functions on a grid, in place of a circuit solved at every one of a million bins.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/bench/bench_filter.hpp"

namespace coldtune::bench {

// Local interpolation of degree 7 between equally spaced nodes. A resonance of half width w is a pole at distance w
// from the real axis; nodes w/32 apart reproduce it to about 43/32^8 = 4e-11 of its height.
class TransferTable {
public:
    // Nodes up to `highest_hz` for features not narrower than `half_width_hz`. Every second node is checked against the
    // interpolation from the others (where the error is 256 times that of the table): nullopt when one of them is off
    // by more than 1e-7 of the channel's largest value, or when the table would have more than `most_nodes`.
    static std::optional<TransferTable> make(const Transfer& transfer, double highest_hz, double half_width_hz,
                                             std::size_t most_nodes);

    // 0 <= frequency <= highest.
    [[nodiscard]] InputPair operator()(double frequency_hz) const;

private:
    [[nodiscard]] InputPair node(std::ptrdiff_t index) const;
    [[nodiscard]] InputPair interpolate(double position, std::ptrdiff_t stride) const;

    double spacing_hz_ = 1;
    std::vector<InputPair> nodes_;  // from 0 upwards; below 0 a real system repeats conjugated
};

}  // namespace coldtune::bench
