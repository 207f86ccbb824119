// The residuals and derivatives of ResonanceModel over many bins at once: where a fit spends its time. The same
// formulas as ResonanceModel::evaluate, in real arithmetic over columns, so that vector instructions can be used and no
// complex product guards against overflow that cannot happen here.
#include <algorithm>
#include <array>
#include <memory>
#include <utility>
#include <vector>

#include "dsp/resonance_model.hpp"
#include "dsp/wide_vectors.hpp"

namespace coldtune::dsp {
namespace {

constexpr std::size_t block = 64;  // bins whose columns stay in the nearest cache
using Column = std::array<double, block>;

// The bins, turned: one block after the other, padded by repeating the last bin with no weight.
struct Block {
    std::size_t bins = 0;
    Column x{}, inverse_x{};  // frequency over the reference's, and its inverse
    Column weight{}, m_re{}, m_im{};
    Column a_re{}, a_im{}, b_re{}, b_im{}, c_re{}, c_im{}, d_re{}, d_im{}, cross_re{}, cross_im{};
};

std::vector<Block> blocks_of(std::span<const ResonanceBin> bins, double reference_hz) {
    std::vector<Block> blocks((bins.size() + block - 1) / block);
    for (std::size_t i = 0; i < blocks.size() * block; ++i) {
        const ResonanceBin& bin = bins[std::min(i, bins.size() - 1)];
        Block& to = blocks[i / block];
        const std::size_t k = i % block;
        to.bins += i < bins.size() ? 1U : 0U;
        to.x[k] = bin.frequency_hz / reference_hz;
        to.inverse_x[k] = reference_hz / bin.frequency_hz;
        to.weight[k] = i < bins.size() ? bin.weight : 0.0;
        to.m_re[k] = bin.ratio.real(), to.m_im[k] = bin.ratio.imag();
        to.a_re[k] = bin.a.real(), to.a_im[k] = bin.a.imag();
        to.b_re[k] = bin.b.real(), to.b_im[k] = bin.b.imag();
        to.c_re[k] = bin.c.real(), to.c_im[k] = bin.c.imag();
        to.d_re[k] = bin.d.real(), to.d_im[k] = bin.d.imag();
        to.cross_re[k] = bin.cross.real(), to.cross_im[k] = bin.cross.imag();
    }
    return blocks;
}

struct ComplexColumn {
    Column re, im;
};

// The columns of one block's Jacobian, and after the last of them its residuals.
using Columns = std::array<ComplexColumn, ResonanceModel::most_parameters + 1>;

// What is the same for all bins: the parameters, and where the optional ones have their columns (0: not free).
struct Point {
    double f0 = 0, q = 0, tilt = 0, height = 0, top = 0, offset = 0, element = 0, slope = 0;
    double start_q = 0;
    bool series_loss = false;
    std::size_t offset_at = 0, slope_at = 0, tilt_at = 0, residuals_at = 0;
};

COLDTUNE_WIDE_VECTORS void evaluate_block(const Block& b, const Point& at, bool jacobian, Columns& columns) {
    Column ups, downs, us;
    ComplexColumn line, shape, through, out;
    const double f0 = at.f0, inverse_f0 = 1 / f0, q = at.q, g = at.tilt, h = at.height, top = at.top;
    for (std::size_t i = 0; i < block; ++i) {
        const double up = b.x[i] * inverse_f0, down = f0 * b.inverse_x[i], u = q * (up - down);
        const double line_re = 1 / (1 + u * u), line_im = -u * line_re, turn = g * down;
        const double shape_re = line_re + line_im * turn, shape_im = line_im - line_re * turn;
        const double v_re = top * shape_re + at.offset;
        const double v_im = top * shape_im + b.x[i] * (at.element + at.slope * (b.x[i] * b.x[i] - 1));
        const double under_re = b.c_re[i] + b.d_re[i] * v_re - b.d_im[i] * v_im;
        const double under_im = b.c_im[i] + b.d_re[i] * v_im + b.d_im[i] * v_re;
        const double over_re = b.a_re[i] + b.b_re[i] * v_re - b.b_im[i] * v_im;
        const double over_im = b.a_im[i] + b.b_re[i] * v_im + b.b_im[i] * v_re;
        const double square = 1 / (under_re * under_re + under_im * under_im);
        const double inverse_re = under_re * square, inverse_im = -under_im * square;
        out.re[i] = b.weight[i] * (over_re * inverse_re - over_im * inverse_im - b.m_re[i]);
        out.im[i] = b.weight[i] * (over_re * inverse_im + over_im * inverse_re - b.m_im[i]);
        const double twice_re = inverse_re * inverse_re - inverse_im * inverse_im;
        const double twice_im = 2 * inverse_re * inverse_im;
        through.re[i] = b.weight[i] * (b.cross_re[i] * twice_re - b.cross_im[i] * twice_im);
        through.im[i] = b.weight[i] * (b.cross_re[i] * twice_im + b.cross_im[i] * twice_re);
        ups[i] = up, downs[i] = down, us[i] = u;
        line.re[i] = line_re, line.im[i] = line_im;
        shape.re[i] = shape_re, shape.im[i] = shape_im;
    }
    columns[at.residuals_at] = out;
    if (!jacobian) return;
    const auto column = [&](std::size_t index, auto derivative) {
        for (std::size_t i = 0; i < block; ++i) {
            const auto [re, im] = derivative(i);
            out.re[i] = through.re[i] * re - through.im[i] * im;
            out.im[i] = through.re[i] * im + through.im[i] * re;
        }
        columns[index] = out;
    };
    using Pair = std::pair<double, double>;
    // d shape / du = -j line shape
    const auto by_u = [&](std::size_t i, double factor) {
        return Pair{factor * (line.re[i] * shape.im[i] + line.im[i] * shape.re[i]),
                    factor * (line.im[i] * shape.im[i] - line.re[i] * shape.re[i])};
    };
    const double first = top / at.start_q, loss = at.series_loss ? top / q : 0.0;
    column(0, [&](std::size_t i) {
        const auto [re, im] = by_u(i, -first * q * (ups[i] + downs[i]));
        const double bend = first * g * downs[i];
        return Pair{re + line.im[i] * bend, im - line.re[i] * bend};
    });
    column(1, [&](std::size_t i) {
        const auto [re, im] = by_u(i, top * us[i]);
        const double bend = loss * downs[i];
        return Pair{re - line.im[i] * bend, im + line.re[i] * bend};
    });
    column(2, [&](std::size_t i) { return Pair{h * shape.re[i], h * shape.im[i]}; });
    column(3, [&](std::size_t i) { return Pair{0.0, h * b.x[i]}; });
    if (at.offset_at != 0) column(at.offset_at, [&](std::size_t) { return Pair{h, 0.0}; });
    if (at.slope_at != 0)
        column(at.slope_at, [&](std::size_t i) { return Pair{0.0, h * b.x[i] * (b.x[i] * b.x[i] - 1)}; });
    if (at.tilt_at != 0)
        column(at.tilt_at, [&](std::size_t i) {
            return Pair{top * downs[i] * line.im[i], -top * downs[i] * line.re[i]};
        });
}

// Adds the products of all pairs of the first `count` columns to the lower half of `sums`.
COLDTUNE_WIDE_VECTORS void add_products(const Columns& columns, std::size_t count, Eigen::MatrixXd& sums) {
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t l = 0; l <= k; ++l) {
            const ComplexColumn &a = columns[k], &b = columns[l];
            std::array<double, 8> part{};  // eight sums at once, so that vector instructions may be used
            for (std::size_t i = 0; i < block; i += part.size())
                for (std::size_t j = 0; j < part.size(); ++j)
                    part[j] += a.re[i + j] * b.re[i + j] + a.im[i + j] * b.im[i + j];
            sums(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(l)) +=
                ((part[0] + part[4]) + (part[1] + part[5])) + ((part[2] + part[6]) + (part[3] + part[7]));
        }
    }
}

}  // namespace

LeastSquaresProblem ResonanceModel::problem(std::span<const ResonanceBin> bins) const {
    LeastSquaresProblem problem;
    problem.residuals = 2 * static_cast<Eigen::Index>(bins.size());
    problem.parameters = parameters_;
    const auto blocks = std::make_shared<const std::vector<Block>>(blocks_of(bins, scale_.frequency_hz));
    const auto point = [this](const double* theta) {
        const auto now = shared(theta);
        const double h = scale_.height;
        const auto value = [&](Eigen::Index index) { return index != 0 ? theta[index] * h : 0.0; };
        const auto at = [](Eigen::Index index) { return static_cast<std::size_t>(index); };
        return Point{now.f0,         now.q,
                     now.tilt,       h,
                     theta[2] * h,   value(offset_at_),
                     theta[3] * h,   value(slope_at_),
                     scale_.q,       series_loss_,
                     at(offset_at_), at(slope_at_),
                     at(tilt_at_),   at(parameters_)};
    };
    problem.sums = [this, blocks, point](const double* theta) {
        const Point at = point(theta);
        Eigen::MatrixXd sums = Eigen::MatrixXd::Zero(parameters_ + 1, parameters_ + 1);
        Columns columns;
        for (const Block& b : *blocks) {
            evaluate_block(b, at, true, columns);
            add_products(columns, at.residuals_at + 1, sums);
        }
        return Eigen::MatrixXd(sums.selfadjointView<Eigen::Lower>());
    };
    problem.evaluate = [blocks, point](const double* theta, double* residuals, double* jacobian) {
        const Point at = point(theta);
        std::size_t rows = 0;
        for (const Block& b : *blocks) rows += 2 * b.bins;
        Columns columns;
        const auto store = [&](const ComplexColumn& from, std::size_t count, double* to) {
            for (std::size_t i = 0; i < count; ++i) to[2 * i] = from.re[i], to[2 * i + 1] = from.im[i];
        };
        std::size_t row = 0;
        for (const Block& b : *blocks) {
            evaluate_block(b, at, jacobian != nullptr, columns);
            store(columns[at.residuals_at], b.bins, residuals + row);
            for (std::size_t k = 0; jacobian != nullptr && k < at.residuals_at; ++k)
                store(columns[k], b.bins, jacobian + k * rows + row);
            row += 2 * b.bins;
        }
    };
    return problem;
}

}  // namespace coldtune::dsp
