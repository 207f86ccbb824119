#include "analyzer/model/capacitance.hpp"

#include <Eigen/Cholesky>
#include <array>
#include <cmath>
#include <numbers>

#include "analyzer/model/strip_interaction.hpp"

namespace coldtune::model {
namespace {

constexpr std::size_t kBlockSize = std::size_t{kMaxStripDegree + 1} * (kMaxStripDegree + 1);
using Block = std::array<double, kBlockSize>;

// The images of a charge: where they stand and their sign.
struct Image {
    Placement placement;
    double weight = 1;
};

constexpr int kImagePairs = 8;  // of the double series that are integrated; the rest is summed as a tail

std::vector<Image> images_of(const ConductorSet& conductors) {
    std::vector<Image> images;
    const double ceiling = conductors.ceiling_height_m.value_or(0.0);
    if (conductors.ground) images.push_back({{-1.0, 0.0}, -1.0});
    if (conductors.ceiling_height_m && !conductors.ground) images.push_back({{-1.0, 2.0 * ceiling}, -1.0});
    if (conductors.ceiling_height_m && conductors.ground) {
        for (int n = 1; n <= kImagePairs; ++n) {
            for (const double shift : {2.0 * n * ceiling, -2.0 * n * ceiling}) {
                images.push_back({{1.0, shift}, 1.0});
                images.push_back({{-1.0, shift}, -1.0});
            }
        }
    }
    return images;
}

// Sum over |n| > kImagePairs of 1/|2nH + z - z'| - 1/|2nH + z + z'| is -z z'/H^3 times the sum of n^-3, to first order
// in the sizes over 2nH.
double tail_coefficient(double ceiling) {
    double sum = 1.2020569031595942;  // zeta(3)
    for (int n = 1; n <= kImagePairs; ++n) sum -= 1.0 / (static_cast<double>(n) * n * n);
    return -sum / (ceiling * ceiling * ceiling);
}

class Assembly {
public:
    Assembly(const ConductorSet& conductors, double tolerance)
        : conductors_(conductors), tolerance_(tolerance), images_(images_of(conductors)) {
        Eigen::Index unknowns = 0;
        for (const ChargedStrip& charged : conductors.strips) {
            first_.push_back(unknowns);
            unknowns += charged.strip.degree + 1;
        }
        unknowns_ = unknowns;
    }

    // Lower triangle of the potential coefficients, 1/metre.
    Eigen::MatrixXd potentials() {
        Eigen::MatrixXd matrix(unknowns_, unknowns_);
        const std::size_t count = conductors_.strips.size();
        const std::size_t run = conductors_.uniform_last - conductors_.uniform_first;
        direct_of_lag_.assign(run, {});
        image_of_sum_.assign(2 * run, {});
        direct_known_.assign(run, false);
        image_known_.assign(2 * run, false);
        for (std::size_t j = 0; j < count; ++j) {
            for (std::size_t i = j; i < count; ++i) put(i, j, matrix);
        }
        if (conductors_.ground && conductors_.ceiling_height_m) add_tail(matrix);
        return matrix;
    }

    // Test integrals of the node potentials.
    Eigen::MatrixXd excitations() const {
        Eigen::MatrixXd b = Eigen::MatrixXd::Zero(unknowns_, static_cast<Eigen::Index>(conductors_.nodes));
        for (std::size_t i = 0; i < conductors_.strips.size(); ++i) {
            const ChargedStrip& charged = conductors_.strips[i];
            if (charged.start < 0) continue;
            const StripMoments moments = strip_moments(charged.strip);
            for (int k = 0; k <= charged.strip.degree; ++k) {
                b(first_[i] + k, charged.start) += moments.charge[k] - moments.ramp[k];
                b(first_[i] + k, charged.end) += moments.ramp[k];
            }
        }
        return b;
    }

    Eigen::VectorXd counting() const {
        Eigen::VectorXd count = Eigen::VectorXd::Zero(unknowns_);
        for (std::size_t i = 0; i < conductors_.strips.size(); ++i) {
            if (!conductors_.strips[i].counted) continue;
            const StripMoments moments = strip_moments(conductors_.strips[i].strip);
            for (int k = 0; k <= conductors_.strips[i].strip.degree; ++k) count(first_[i] + k) = moments.charge[k];
        }
        return count;
    }

private:
    [[nodiscard]] bool uniform(std::size_t i) const {
        return i >= conductors_.uniform_first && i < conductors_.uniform_last;
    }

    void direct(std::size_t i, std::size_t j, Block& block) const {
        add_interaction(conductors_.strips[i].strip, conductors_.strips[j].strip, {}, tolerance_, 1.0, block.data());
    }
    void mirrored(std::size_t i, std::size_t j, Block& block) const {
        for (const Image& image : images_) {
            add_interaction(conductors_.strips[i].strip, conductors_.strips[j].strip, image.placement, tolerance_,
                            image.weight, block.data());
        }
    }

    void put(std::size_t i, std::size_t j, Eigen::MatrixXd& matrix) {
        Block block{};
        if (uniform(i) && uniform(j)) {
            const std::size_t lag = i - j;
            if (!direct_known_[lag]) {
                direct(i, j, direct_of_lag_[lag]);
                direct_known_[lag] = true;
            }
            block = direct_of_lag_[lag];
            // Only a single mirror plane leaves a function of the sum alone.
            if (images_.size() == 1) {
                const std::size_t sum = i + j - 2 * conductors_.uniform_first;
                if (!image_known_[sum]) {
                    mirrored(i, j, image_of_sum_[sum]);
                    image_known_[sum] = true;
                }
                for (std::size_t k = 0; k < kBlockSize; ++k) block[k] += image_of_sum_[sum][k];
            } else {
                mirrored(i, j, block);
            }
        } else {
            direct(i, j, block);
            mirrored(i, j, block);
        }
        const int rows = conductors_.strips[i].strip.degree + 1;
        const int columns = conductors_.strips[j].strip.degree + 1;
        for (int k = 0; k < rows; ++k) {
            for (int l = 0; l < columns; ++l) {
                matrix(first_[i] + k, first_[j] + l) =
                    block[static_cast<std::size_t>(k) * static_cast<std::size_t>(columns) +
                          static_cast<std::size_t>(l)];
            }
        }
    }

    void add_tail(Eigen::MatrixXd& matrix) const {
        Eigen::VectorXd moment(unknowns_);
        for (std::size_t i = 0; i < conductors_.strips.size(); ++i) {
            const StripMoments moments = strip_moments(conductors_.strips[i].strip);
            for (int k = 0; k <= conductors_.strips[i].strip.degree; ++k) moment(first_[i] + k) = moments.moment[k];
        }
        matrix += tail_coefficient(*conductors_.ceiling_height_m) * moment * moment.transpose();
    }

    const ConductorSet& conductors_;
    double tolerance_;
    std::vector<Image> images_;
    std::vector<Eigen::Index> first_;
    Eigen::Index unknowns_ = 0;
    std::vector<Block> direct_of_lag_;
    std::vector<Block> image_of_sum_;
    std::vector<bool> direct_known_;
    std::vector<bool> image_known_;
};

}  // namespace

MaxwellSolution solve_maxwell(const ConductorSet& conductors, double tolerance) {
    Assembly assembly(conductors, tolerance);
    Eigen::MatrixXd potentials = assembly.potentials();
    const Eigen::LLT<Eigen::Ref<Eigen::MatrixXd>> cholesky(potentials);
    // Integrals too coarse for a very uneven geometry can spoil the smallest eigenvalues; exact ones cannot.
    if (cholesky.info() != Eigen::Success && tolerance > 1e-12) return solve_maxwell(conductors, 1e-2 * tolerance);
    const double scale = 4.0 * std::numbers::pi * kVacuumPermittivity;
    Eigen::MatrixXd half = assembly.excitations();
    cholesky.matrixL().solveInPlace(half);
    Eigen::VectorXd count = assembly.counting();
    cholesky.matrixL().solveInPlace(count);
    MaxwellSolution solution;
    solution.capacitance_f.setZero(half.cols(), half.cols());
    solution.capacitance_f.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose(), scale);
    solution.capacitance_f.triangularView<Eigen::StrictlyUpper>() = solution.capacitance_f.transpose();
    solution.counted_charge_f = scale * (half.transpose() * count);
    return solution;
}

void append_conductor(ConductorSet& conductors, const std::vector<Strip>& meridian, int node, bool counted) {
    for (const Strip& strip : meridian) conductors.strips.push_back({strip, node, node, counted});
}

double capacitance_of(const std::vector<Strip>& meridian, bool ground, double tolerance) {
    ConductorSet conductors;
    conductors.nodes = 1;
    conductors.ground = ground;
    append_conductor(conductors, meridian, 0);
    return solve_maxwell(conductors, tolerance).capacitance_f(0, 0);
}

}  // namespace coldtune::model
