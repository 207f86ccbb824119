#include "dsp/capture_check.hpp"

#include <fmt/format.h>

#include <cmath>
#include <span>

namespace coldtune::dsp {

Status check_finite(const TwoChannelCapture& capture) {
    const auto check = [](const std::vector<double>& channel, const char* name) -> Status {
        // A sum of zeros times the samples is zero unless one of them is not finite: one pass without a branch.
        double sum = 0;
        for (const double value : channel) sum += value * 0.0;
        if (sum == 0.0) return Done{};
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
