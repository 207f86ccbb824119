#include "analyzer/cli/frequency_axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::Unit;

}  // namespace

std::string frequency_axis(const std::vector<AxisRow>& rows, std::size_t columns) {
    if (rows.empty() || columns < 8) return {};
    double low = rows.front().low_hz, high = rows.front().high_hz;
    std::size_t widest = 0;
    for (const AxisRow& row : rows) {
        low = std::min(low, row.low_hz);
        high = std::max(high, row.high_hz);
        widest = std::max(widest, row.name.size());
    }
    // A twelfth of the span on either side; rows that all coincide still get an axis.
    const double room = std::max((high - low) / 12, 1e-5 * high);
    low -= room;
    high += room;
    const auto column = [&](double hz) {
        const double at = (hz - low) / (high - low) * static_cast<double>(columns - 1);
        return static_cast<std::size_t>(std::clamp(std::round(at), 0.0, static_cast<double>(columns - 1)));
    };
    std::string out;
    for (const AxisRow& row : rows) {
        std::string line(columns, ' ');
        const std::size_t from = column(row.low_hz), middle = column(row.middle_hz), to = column(row.high_hz);
        for (std::size_t i = from; i <= to; ++i) line[i] = '-';
        line[from] = '<';
        line[to] = '>';
        line[middle] = '|';
        line.erase(line.find_last_not_of(' ') + 1);
        out += fmt::format("    {:<{}}  {}\n", row.name, widest, line);
    }
    const std::string left = format_quantity(low, Unit::hertz), right = format_quantity(high, Unit::hertz);
    out += fmt::format("    {:<{}}  {}\n", "", widest, "+" + std::string(columns - 2, '-') + "+");
    const std::size_t gap = columns > left.size() + right.size() ? columns - left.size() - right.size() : 1;
    out += fmt::format("    {:<{}}  {}{}{}\n", "", widest, left, std::string(gap, ' '), right);
    return out;
}

}  // namespace coldtune::cli
