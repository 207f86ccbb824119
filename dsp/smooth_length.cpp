#include "dsp/smooth_length.hpp"

#include <algorithm>

#include "dsp/stimulus.hpp"

namespace coldtune::dsp {
namespace {

// Calls back with every 2 * 3^a * 5^b * 7^c up to `limit`.
template <typename Visit>
void odd_products(std::size_t limit, Visit&& visit) {
    for (std::size_t seven = 2; seven <= limit; seven *= 7)
        for (std::size_t five = seven; five <= limit; five *= 5)
            for (std::size_t three = five; three <= limit; three *= 3) visit(three);
}

}  // namespace

std::size_t choose_period(std::size_t frames) {
    std::size_t best = 2;
    while (best < frames) best *= 2;
    odd_products(best, [&](std::size_t product) {
        while (product < frames) product *= 2;
        best = std::min(best, product);
    });
    return best;
}

std::size_t smooth_length_below(std::size_t frames) {
    std::size_t best = 2;
    odd_products(frames, [&](std::size_t product) {
        while (product <= frames / 2) product *= 2;
        best = std::max(best, product);
    });
    return best;
}

}  // namespace coldtune::dsp
