#include "analyzer/record/sha256.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <nettle/sha2.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <system_error>
#include <vector>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {
namespace {

class Sum {
public:
    Sum() { sha256_init(&context_); }
    void add(const char* bytes, std::size_t count) {
        sha256_update(&context_, count, reinterpret_cast<const std::uint8_t*>(bytes));
    }
    std::string text() {
        std::array<std::uint8_t, SHA256_DIGEST_SIZE> digest{};
        sha256_digest(&context_, digest.size(), digest.data());
        std::string hex;
        for (const std::uint8_t byte : digest) hex += fmt::format("{:02x}", byte);
        return hex;
    }

private:
    sha256_ctx context_{};
};

}  // namespace

std::string sha256(std::string_view bytes) {
    Sum sum;
    sum.add(bytes.data(), bytes.size());
    return sum.text();
}

bool is_sha256(std::string_view text) {
    return text.size() == 64 && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

Result<FileSum> sha256_of_file(const std::filesystem::path& path) {
    const std::string name = one_line(path.string(), 200);
    // Without O_NONBLOCK a pipe would be waited for.
    const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (file < 0) {
        const int code = errno;
        if (code == ENOENT || code == ENOTDIR) return bad_input(name + ": there is no such file; check its name and folder");
        if (code == ELOOP) return bad_input(name + ": is a link; put the file itself there");
        return bad_input(fmt::format("{}: cannot be opened: {}", name, std::generic_category().message(code)));
    }
    struct Close {
        int file;
        ~Close() { ::close(file); }
    } const closing{file};
    struct stat status {};
    if (::fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
        return bad_input(name + ": is not an ordinary file; put the file itself there");
    }
    Sum sum;
    FileSum result;
    std::vector<char> block(std::size_t{1} << 18);
    for (;;) {
        const ssize_t got = ::read(file, block.data(), block.size());
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) {
            return bad_input(
                fmt::format("{}: cannot be read to its end: {}", name, std::generic_category().message(errno)));
        }
        if (got == 0) break;
        sum.add(block.data(), static_cast<std::size_t>(got));
        result.bytes += static_cast<std::uint64_t>(got);
    }
    result.sha256 = sum.text();
    return result;
}

}  // namespace coldtune::record
