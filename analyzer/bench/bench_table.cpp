#include "analyzer/bench/bench_table.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>

#include "analyzer/bench/bench_parallel.hpp"

namespace coldtune::bench {
namespace {

constexpr std::ptrdiff_t kPoints = 8;
constexpr double kNodesPerHalfWidth = 32;
constexpr double kTolerance = 1e-7;
constexpr std::size_t kFewestNodes = 512;

// Lagrange weights at t between nodes 3 (t = 0) and 4 (t = 1) of eight equally spaced ones.
std::array<double, kPoints> weights(double t) {
    // Products of the differences of node i to all others: (-1)^(7-i) i! (7-i)!.
    constexpr std::array<double, kPoints> denominators{-5040, 720, -240, 144, -144, 240, -720, 5040};
    std::array<double, kPoints> result{};
    std::array<double, kPoints> below{};
    double product = 1;
    for (std::size_t i = 0; i < kPoints; ++i) {
        below[i] = product;
        product *= t - (static_cast<double>(i) - 3);
    }
    double above = 1;
    for (std::size_t i = kPoints; i-- > 0;) {
        result[i] = below[i] * above / denominators[i];
        above *= t - (static_cast<double>(i) - 3);
    }
    return result;
}

}  // namespace

InputPair TransferTable::node(std::ptrdiff_t index) const {
    if (index >= 0) return nodes_[static_cast<std::size_t>(index)];
    const InputPair& mirrored = nodes_[static_cast<std::size_t>(-index)];
    return {std::conj(mirrored.generator), std::conj(mirrored.coil)};
}

InputPair TransferTable::interpolate(double position, std::ptrdiff_t stride) const {
    const double base = std::floor(position);
    const std::array<double, kPoints> w = weights(position - base);
    const std::ptrdiff_t first = static_cast<std::ptrdiff_t>(base) - 3;
    InputPair sum{};
    for (std::ptrdiff_t i = 0; i < kPoints; ++i) {
        const InputPair value = node((first + i) * stride);
        sum.generator += w[static_cast<std::size_t>(i)] * value.generator;
        sum.coil += w[static_cast<std::size_t>(i)] * value.coil;
    }
    return sum;
}

InputPair TransferTable::operator()(double frequency_hz) const {
    return interpolate(frequency_hz / spacing_hz_, 1);
}

std::optional<TransferTable> TransferTable::make(const Transfer& transfer, double highest_hz, double half_width_hz,
                                                 std::size_t most_nodes) {
    TransferTable table;
    table.spacing_hz_ = std::min(half_width_hz / kNodesPerHalfWidth, highest_hz / static_cast<double>(kFewestNodes));
    const double wanted = highest_hz / table.spacing_hz_ + 2 * kPoints + 2;
    if (!(wanted < static_cast<double>(most_nodes))) return std::nullopt;
    table.nodes_.resize(static_cast<std::size_t>(wanted));
    in_parallel(table.nodes_.size(), [&](std::size_t first, std::size_t last) {
        for (std::size_t i = first; i < last; ++i)
            table.nodes_[i] = transfer(static_cast<double>(i) * table.spacing_hz_);
    });
    double generator = 0, coil = 0;
    for (const InputPair& value : table.nodes_) {
        generator = std::max(generator, std::abs(value.generator));
        coil = std::max(coil, std::abs(value.coil));
    }
    for (std::size_t i = 1; i + 2 * kPoints < table.nodes_.size(); i += 2) {
        const InputPair guess = table.interpolate(0.5 * static_cast<double>(i), 2);
        if (!(std::abs(guess.generator - table.nodes_[i].generator) <= kTolerance * generator) ||
            !(std::abs(guess.coil - table.nodes_[i].coil) <= kTolerance * coil)) {
            return std::nullopt;
        }
    }
    return table;
}

}  // namespace coldtune::bench
