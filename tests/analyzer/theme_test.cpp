// Can everybody tell the curves apart?
#include "analyzer/picture/theme.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <vector>

namespace coldtune::picture {
namespace {

using Vec = std::array<double, 3>;
using Matrix = std::array<Vec, 3>;

Vec times(const Matrix& m, const Vec& v) {
    Vec out{};
    for (std::size_t r = 0; r < 3; ++r) {
        for (std::size_t c = 0; c < 3; ++c) out[r] += m[r][c] * v[c];
    }
    return out;
}

// IEC 61966-2-1 (sRGB), from memory.
Vec linear(Color color) {
    const auto part = [](std::uint8_t v) {
        const double s = v / 255.0;
        return s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
    };
    return {part(color.r), part(color.g), part(color.b)};
}
constexpr Matrix kXyz = {
    {{0.4124564, 0.3575761, 0.1804375}, {0.2126729, 0.7151522, 0.0721750}, {0.0193339, 0.1191920, 0.9503041}}};

// CIE 1976 L*a*b* under D65.
Vec lab(Vec rgb) {
    for (double& v : rgb) v = std::min(1.0, std::max(0.0, v));
    Vec xyz = times(kXyz, rgb);
    const Vec white{0.95047, 1, 1.08883};
    for (std::size_t k = 0; k < 3; ++k) {
        const double t = xyz[k] / white[k];
        xyz[k] = t > 216.0 / 24389 ? std::cbrt(t) : (24389.0 / 27 * t + 16) / 116;
    }
    return {116 * xyz[1] - 16, 500 * (xyz[0] - xyz[1]), 200 * (xyz[1] - xyz[2])};
}

// Simulated complete absence of one kind of cone: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis.
// Comput. Graph. 15, 1291 (2009), severity 1; the matrices from memory.
const std::array<Matrix, 4> kEyes = {{
    {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
    {{{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}}},
    {{{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}}},
    {{{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}}},
}};

double luminance(Color color) {
    return times(kXyz, linear(color))[1];
}
// WCAG 2.1, contrast ratio.
double contrast(Color a, Color b) {
    const double x = luminance(a) + 0.05, y = luminance(b) + 0.05;
    return std::max(x, y) / std::min(x, y);
}

std::vector<Color> curves(const Theme& t) {
    std::vector<Color> all(t.run.begin(), t.run.end());
    all.push_back(t.calculated);
    return all;
}

TEST(Theme, EveryPairOfCurvesDiffersForEveryEye) {
    for (const Theme* t : {&light_theme(), &dark_theme()}) {
        const auto all = curves(*t);
        for (std::size_t eye = 0; eye < kEyes.size(); ++eye) {
            for (std::size_t a = 0; a < all.size(); ++a) {
                for (std::size_t b = a + 1; b < all.size(); ++b) {
                    const Vec x = lab(times(kEyes[eye], linear(all[a]))), y = lab(times(kEyes[eye], linear(all[b])));
                    // A difference of 2.3 is just noticed side by side (common practice, no source); thin lines apart
                    // from one another need several times that.
                    EXPECT_GT(std::hypot(x[0] - y[0], x[1] - y[1], x[2] - y[2]), 15)
                        << (t->dark ? "dark" : "light") << ", eye " << eye << ", curves " << a << " and " << b;
                }
            }
        }
    }
}

// A run drawn like the text, or two runs drawn alike, would be taken for one another.
TEST(Theme, NoRunIsDrawnLikeTextNorLikeAnother) {
    for (const Theme* t : {&light_theme(), &dark_theme()}) {
        for (std::size_t eye = 0; eye < kEyes.size(); ++eye) {
            const Vec ink = lab(times(kEyes[eye], linear(t->ink)));
            for (Color c : t->run) {
                const Vec x = lab(times(kEyes[eye], linear(c)));
                // As between two curves.
                EXPECT_GT(std::hypot(x[0] - ink[0], x[1] - ink[1], x[2] - ink[2]), 15) << eye;
            }
        }
        const std::size_t told = t->run.size() * kPatterns;
        for (std::size_t a = 0; a < told; ++a) {
            for (std::size_t b = a + 1; b < told; ++b) {
                EXPECT_TRUE(t->run_color(a) != t->run_color(b) || t->run_pattern(a) != t->run_pattern(b))
                    << a << " and " << b;
            }
        }
    }
}

TEST(Theme, CurvesAndTextStandOut) {
    for (const Theme* t : {&light_theme(), &dark_theme()}) {
        // WCAG 2.1: 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3).
        for (Color c : curves(*t)) EXPECT_GE(contrast(c, t->panel), 3.0);
        for (Color c : {t->ink, t->soft_ink, t->good, t->caution, t->rejected, t->accent}) {
            EXPECT_GE(contrast(c, t->ground), 4.5);
            EXPECT_GE(contrast(c, t->panel), 4.5);
        }
        EXPECT_GE(contrast(t->on_accent, t->accent), 4.5);
        EXPECT_GE(contrast(t->ink, t->raised), 4.5);
    }
}

}  // namespace
}  // namespace coldtune::picture
