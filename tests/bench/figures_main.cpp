// coldtune-figures efficiency [RUNS] | sweep-time | growth | below-band-problem
#include <cstdio>
#include <cstdlib>
#include <string>

#include "tests/bench/figures.hpp"

int main(int argc, char** argv) {
    const std::string what = argc > 1 ? argv[1] : "";
    if (what == "efficiency") {
        coldtune::figures::print_efficiency(argc > 2 ? std::atoi(argv[2]) : 1000);
    } else if (what == "sweep-time") {
        coldtune::figures::print_sweep_time();
    } else if (what == "growth") {
        coldtune::figures::print_growth();
    } else if (what == "below-band-problem") {
        coldtune::figures::print_below_band_problem();
    } else {
        std::fputs("usage: coldtune-figures efficiency [RUNS] | sweep-time | growth | below-band-problem\n", stderr);
        return 2;
    }
    return 0;
}
