#include "analyzer/cli/output_target.hpp"

#include <fmt/format.h>

#include <filesystem>

namespace coldtune::cli {

Status check_target(const std::string& out, std::span<const std::string> inputs) {
    namespace fs = std::filesystem;
    const fs::path target(out);
    std::error_code none;
    for (const std::string& input : inputs) {
        if (!input.empty() && fs::equivalent(target, input, none)) {
            return usage_error(fmt::format("--out {} is what it is made from; name another file", out));
        }
    }
    const fs::path folder = fs::weakly_canonical(target, none).parent_path();
    if (folder.extension() == ".captures" || folder.extension() == ".saves") {
        return usage_error(fmt::format("--out {} lies in the folder of a bench book; name another", out));
    }
    const fs::path kind = target.extension();
    if ((kind == ".json" || kind == ".wav" || kind == ".flac") && fs::exists(target, none)) {
        return usage_error(
            fmt::format("--out {} exists and may be a book, a description or a capture; name another file", out));
    }
    return Done{};
}

}  // namespace coldtune::cli
