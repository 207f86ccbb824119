// The residuals and derivatives of ResonanceModel over many bins at once: where a fit spends its time. The same
// formulas as ResonanceModel::evaluate, in real arithmetic over columns, so that vector instructions can be used and no
// complex product guards against overflow that cannot happen here.
#include <algorithm>
#include <array>
#include <memory>
#include <vector>

#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {
namespace {

constexpr std::size_t block = 64;  // bins whose columns stay in the nearest cache
using Column = std::array<double, block>;

// The bins, turned: one block after the other, padded by repeating the last bin.
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
        to.weight[k] = bin.weight;
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

// What the derivatives need of the residuals' way.
struct Passage {
    Column up, down, u;
    ComplexColumn line, shape, through;
};

}  // namespace

LeastSquaresProblem ResonanceModel::problem(std::span<const ResonanceBin> bins) const {
    LeastSquaresProblem problem;
    problem.residuals = 2 * static_cast<Eigen::Index>(bins.size());
    problem.parameters = parameters_;
    const auto blocks = std::make_shared<const std::vector<Block>>(blocks_of(bins, scale_.frequency_hz));
    problem.evaluate = [this, blocks](const double* theta, double* residuals, double* jacobian) {
        const auto at = shared(theta);
        // Plain values: not every compiler lets a lambda use the names of a structured binding.
        const double f0 = at.f0, q = at.q, g = at.tilt;
        const double inverse_f0 = 1 / f0, h = scale_.height, top = theta[2] * h;
        const double offset = offset_at_ != 0 ? theta[offset_at_] * h : 0.0;
        const double element = theta[3] * h, slope = slope_at_ != 0 ? theta[slope_at_] * h : 0.0;
        std::size_t rows = 0;
        for (const Block& b : *blocks) rows += 2 * b.bins;
        Passage p;
        ComplexColumn out;
        const auto store = [](const ComplexColumn& from, std::size_t count, double* to) {
            for (std::size_t i = 0; i < count; ++i) to[2 * i] = from.re[i], to[2 * i + 1] = from.im[i];
        };
        std::size_t row = 0;
        for (const Block& b : *blocks) {
            for (std::size_t i = 0; i < block; ++i) {
                const double up = b.x[i] * inverse_f0, down = f0 * b.inverse_x[i], u = q * (up - down);
                const double line_re = 1 / (1 + u * u), line_im = -u * line_re, turn = g * down;
                const double shape_re = line_re + line_im * turn, shape_im = line_im - line_re * turn;
                const double v_re = top * shape_re + offset;
                const double v_im = top * shape_im + b.x[i] * (element + slope * (b.x[i] * b.x[i] - 1));
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
                p.through.re[i] = b.weight[i] * (b.cross_re[i] * twice_re - b.cross_im[i] * twice_im);
                p.through.im[i] = b.weight[i] * (b.cross_re[i] * twice_im + b.cross_im[i] * twice_re);
                p.up[i] = up, p.down[i] = down, p.u[i] = u;
                p.line.re[i] = line_re, p.line.im[i] = line_im;
                p.shape.re[i] = shape_re, p.shape.im[i] = shape_im;
            }
            store(out, b.bins, residuals + row);
            if (jacobian != nullptr) {
                const auto column = [&](Eigen::Index index, auto derivative) {
                    for (std::size_t i = 0; i < block; ++i) {
                        const auto [re, im] = derivative(i);
                        out.re[i] = p.through.re[i] * re - p.through.im[i] * im;
                        out.im[i] = p.through.re[i] * im + p.through.im[i] * re;
                    }
                    store(out, b.bins, jacobian + static_cast<std::size_t>(index) * rows + row);
                };
                using Pair = std::pair<double, double>;
                // d shape / du = -j line shape
                const auto by_u = [&](std::size_t i, double factor) {
                    return Pair{factor * (p.line.re[i] * p.shape.im[i] + p.line.im[i] * p.shape.re[i]),
                                factor * (p.line.im[i] * p.shape.im[i] - p.line.re[i] * p.shape.re[i])};
                };
                const double first = top / scale_.q, loss = series_loss_ ? top / q : 0.0;
                column(0, [&](std::size_t i) {
                    const auto [re, im] = by_u(i, -first * q * (p.up[i] + p.down[i]));
                    const double bend = first * g * p.down[i];
                    return Pair{re + p.line.im[i] * bend, im - p.line.re[i] * bend};
                });
                column(1, [&](std::size_t i) {
                    const auto [re, im] = by_u(i, top * p.u[i]);
                    const double bend = loss * p.down[i];
                    return Pair{re - p.line.im[i] * bend, im + p.line.re[i] * bend};
                });
                column(2, [&](std::size_t i) { return Pair{h * p.shape.re[i], h * p.shape.im[i]}; });
                column(3, [&](std::size_t i) { return Pair{0.0, h * b.x[i]}; });
                if (offset_at_ != 0) column(offset_at_, [&](std::size_t) { return Pair{h, 0.0}; });
                if (slope_at_ != 0)
                    column(slope_at_, [&](std::size_t i) { return Pair{0.0, h * b.x[i] * (b.x[i] * b.x[i] - 1)}; });
                if (tilt_at_ != 0)
                    column(tilt_at_, [&](std::size_t i) {
                        return Pair{top * p.down[i] * p.line.im[i], -top * p.down[i] * p.line.re[i]};
                    });
            }
            row += 2 * b.bins;
        }
    };
    return problem;
}

}  // namespace coldtune::dsp
