#pragma once

#include "analyzer/bench/bench.hpp"

namespace coldtune::bench {

// A coil of three elements, to be reckoned by hand: 0.12 H, 31 pF, 610 ohm, and 5 pF beside it.
inline Bench lumped_bench() {
    Bench bench;
    bench.coil = LumpedCoil{{{0.12, 31e-12, 610}}, 5e-12};
    return bench;
}

}  // namespace coldtune::bench
