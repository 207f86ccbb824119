// coldtune-figures efficiency [RUNS] | sweep-time | growth | below-band-problem
#include <charconv>
#include <cstdio>
#include <string>
#include <string_view>

#include "tests/bench/figures.hpp"

namespace {

// At least ten runs, or there is no scatter to speak of; 0 for anything else.
int runs_of(std::string_view text) {
    int runs = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), runs);
    return error == std::errc() && end == text.data() + text.size() && runs >= 10 ? runs : 0;
}

}  // namespace

int main(int argc, char** argv) {
    const std::string what = argc > 1 ? argv[1] : "";
    if (what == "efficiency" && argc <= 3) {
        if (const int runs = argc > 2 ? runs_of(argv[2]) : 1000; runs > 0) {
            coldtune::figures::print_efficiency(runs);
            return 0;
        }
    } else if (argc == 2) {
        if (what == "sweep-time") return coldtune::figures::print_sweep_time(), 0;
        if (what == "growth") return coldtune::figures::print_growth(), 0;
        if (what == "below-band-problem") return coldtune::figures::print_below_band_problem(), 0;
    }
    std::fputs("usage: coldtune-figures efficiency [RUNS, 10 or more] | sweep-time | growth | below-band-problem\n",
               stderr);
    return 2;
}
