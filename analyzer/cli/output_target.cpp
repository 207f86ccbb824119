#include "analyzer/cli/output_target.hpp"

#include <fmt/format.h>

#include <filesystem>

namespace coldtune::cli {
namespace {

bool belongs_to_a_book(const std::filesystem::path& target) {
    std::error_code none;
    const auto folder = std::filesystem::weakly_canonical(target, none).parent_path();
    return folder.extension() == ".captures" || folder.extension() == ".saves";
}

Error in_a_book(const std::string& out) {
    return usage_error(fmt::format("--out {} lies in the folder of a bench book; name another", out));
}

}  // namespace

Status check_target(const std::string& out, std::span<const std::string> inputs) {
    namespace fs = std::filesystem;
    const fs::path target(out);
    std::error_code none;
    for (const std::string& input : inputs) {
        if (!input.empty() && fs::equivalent(target, input, none)) {
            return usage_error(fmt::format("--out {} is what it is made from; name another file", out));
        }
    }
    if (belongs_to_a_book(target)) return in_a_book(out);
    const fs::path kind = target.extension();
    if ((kind == ".json" || kind == ".wav" || kind == ".flac") && fs::exists(target, none)) {
        return usage_error(
            fmt::format("--out {} exists and may be a book, a description or a capture; name another file", out));
    }
    return Done{};
}

Status check_sound_target(const std::string& out, bool replace) {
    std::error_code none;
    if (belongs_to_a_book(out)) return in_a_book(out);
    if (!replace && std::filesystem::exists(out, none)) {
        return usage_error(fmt::format("{} exists already; name another file, or give --replace", out));
    }
    return Done{};
}

}  // namespace coldtune::cli
