#pragma once

#include <fmt/format.h>

#include <string>
#include <string_view>

namespace coldtune::cli {

// One line of a result for the terminal: a name, its value in the column all values share, a remark where there is one.
inline void row(std::string& out, std::string_view name, std::string_view value, std::string_view remark = {}) {
    out += fmt::format("  {:<16}{}{}{}\n", name, value, remark.empty() ? "" : "   ", remark);
}

}  // namespace coldtune::cli
