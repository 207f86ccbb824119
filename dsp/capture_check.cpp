#include "dsp/capture_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

namespace coldtune::dsp {

Status check_finite(const TwoChannelCapture& capture) {
    const auto check = [](const std::vector<double>& channel, const char* name) -> Status {
        // Zeros times the samples add up to zero unless one of them is not finite: one pass without a branch.
        std::array<double, 8> sum{};
        const std::size_t whole = channel.size() / sum.size() * sum.size();
        for (std::size_t i = 0; i < whole; i += sum.size())
            for (std::size_t j = 0; j < sum.size(); ++j) sum[j] += channel[i + j] * 0.0;
        for (std::size_t i = whole; i < channel.size(); ++i) sum[0] += channel[i] * 0.0;
        if (std::all_of(sum.begin(), sum.end(), [](double part) { return part == 0.0; })) return Done{};
        for (std::size_t i = 0; i < channel.size(); ++i)
            if (!std::isfinite(channel[i]))
                return bad_input(
                    fmt::format("The {} channel holds a value that is no number at frame {}; the file is "
                                "damaged, record again.",
                                name, i));
        return Done{};
    };
    if (auto status = check(capture.generator, "generator"); !status) return status.error();
    return check(capture.coil, "coil");
}

}  // namespace coldtune::dsp
