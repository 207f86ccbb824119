// Nodal analysis of a handful of nodes, private to the simulated bench.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <utility>

namespace coldtune::bench {

// Y v = i for up to `capacity` free nodes; node `kGround` is the reference. Complex Gaussian elimination with partial
// pivoting, without any allocation: it runs once per spectral bin of a recording.
class NodalSystem {
public:
    using Complex = std::complex<double>;
    static constexpr std::size_t capacity = 6;
    static constexpr std::size_t kGround = capacity;

    // A new free node.
    std::size_t node() { return count_++; }

    // An admittance (siemens) between two nodes.
    void connect(std::size_t a, std::size_t b, Complex admittance) {
        at(a, a) += admittance;
        at(b, b) += admittance;
        at(a, b) -= admittance;
        at(b, a) -= admittance;
    }

    // A reciprocal two-port a-common, b-common given by its admittance matrix, common node floating like any other.
    void connect(std::size_t a, std::size_t b, std::size_t common, Complex yaa, Complex yab, Complex ybb) {
        // As its pi equivalent: rows and columns of the indefinite admittance matrix sum to zero.
        connect(a, b, -yab);
        connect(a, common, yaa + yab);
        connect(b, common, ybb + yab);
    }

    // A current (ampere) into a node.
    void inject(std::size_t a, Complex current) { current_[a] += current; }

    // Node voltages; the entry of kGround stays 0. The matrix is consumed.
    std::array<Complex, capacity + 1> solve() {
        std::array<Complex, capacity + 1> voltage{};
        for (std::size_t column = 0; column < count_; ++column) {
            std::size_t pivot = column;
            for (std::size_t row = column + 1; row < count_; ++row) {
                if (std::norm(at(row, column)) > std::norm(at(pivot, column))) pivot = row;
            }
            if (pivot != column) {
                for (std::size_t k = column; k < count_; ++k) std::swap(at(column, k), at(pivot, k));
                std::swap(current_[column], current_[pivot]);
            }
            const Complex inverse = 1.0 / at(column, column);
            for (std::size_t row = column + 1; row < count_; ++row) {
                const Complex factor = at(row, column) * inverse;
                for (std::size_t k = column + 1; k < count_; ++k) at(row, k) -= factor * at(column, k);
                current_[row] -= factor * current_[column];
            }
        }
        for (std::size_t row = count_; row-- > 0;) {
            Complex sum = current_[row];
            for (std::size_t k = row + 1; k < count_; ++k) sum -= at(row, k) * voltage[k];
            voltage[row] = sum / at(row, row);
        }
        return voltage;
    }

private:
    Complex& at(std::size_t row, std::size_t column) { return matrix_[row * (capacity + 1) + column]; }

    std::array<Complex, (capacity + 1) * (capacity + 1)> matrix_{};
    std::array<Complex, capacity + 1> current_{};
    std::size_t count_ = 0;
};

}  // namespace coldtune::bench
