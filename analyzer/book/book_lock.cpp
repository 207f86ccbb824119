#include "analyzer/book/book_lock.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <charconv>
#include <system_error>
#include <utility>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::book {
namespace {

// "process 4711 (coldtune-window)", as far as the file and the kernel tell.
std::string holder_of(int descriptor) {
    std::array<char, 32> text{};
    const ssize_t got = ::pread(descriptor, text.data(), text.size(), 0);
    int process = 0;
    if (got > 0) std::from_chars(text.data(), text.data() + got, process);
    if (process <= 0) return "another process";
    std::array<char, 64> name{};
    const int proc = ::open(fmt::format("/proc/{}/comm", process).c_str(), O_RDONLY | O_CLOEXEC);
    const ssize_t length = proc < 0 ? 0 : ::read(proc, name.data(), name.size());
    if (proc >= 0) ::close(proc);
    std::string program(name.data(), length > 0 ? static_cast<std::size_t>(length) : 0);
    while (!program.empty() && program.back() == '\n') program.pop_back();
    if (program.empty()) return fmt::format("process {}", process);
    return fmt::format("process {} ({})", process, record::one_line(program));
}

// Whether the file that is open still is the one at `path`: its last holder may have removed it meanwhile.
bool still_there(int descriptor, const std::filesystem::path& path) {
    struct stat open {
    }, named{};
    return ::fstat(descriptor, &open) == 0 && ::lstat(path.c_str(), &named) == 0 && open.st_ino == named.st_ino &&
           open.st_dev == named.st_dev;
}

}  // namespace

Result<BookLock> BookLock::take(const Places& places) {
    const auto failed = [&](int code) {
        const char* advice =
            code == ENOENT || code == ENOTDIR ? "make its folder first" : "copy the book to a folder you may write to";
        return bad_input(fmt::format("{}: cannot be opened for writing: {}; {}", places.name(),
                                     std::generic_category().message(code), advice));
    };
    for (int attempt = 0; attempt < 100; ++attempt) {
        const int file = ::open(places.lock.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK, 0666);
        if (file < 0) return failed(errno);
        BookLock lock(file, places.lock);
        if (::flock(file, LOCK_EX | LOCK_NB) != 0) {
            const int code = errno;
            lock.path_.clear();  // somebody else's
            if (code != EWOULDBLOCK) return failed(code);
            return bad_input(
                fmt::format("{}: is open in {}; close it there, then try again", places.name(), holder_of(file)));
        }
        if (!still_there(file, places.lock)) {
            lock.path_.clear();
            continue;
        }
        const std::string holder = fmt::format("{}\n", ::getpid());
        // Who holds it is a courtesy: on a full disk the lock holds all the same.
        if (::ftruncate(file, 0) != 0 || ::pwrite(file, holder.data(), holder.size(), 0) < 0) errno = 0;
        return lock;
    }
    return bad_input(places.name() + ": others open and close it all the time; try again");
}

BookLock::BookLock(BookLock&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), path_(std::move(other.path_)) {}

BookLock& BookLock::operator=(BookLock&& other) noexcept {
    if (this != &other) {
        release();
        descriptor_ = std::exchange(other.descriptor_, -1);
        path_ = std::move(other.path_);
    }
    return *this;
}

BookLock::~BookLock() {
    release();
}

void BookLock::release() noexcept {
    if (descriptor_ < 0) return;
    // Removed while it is still held, and only if it is ours: whoever opened it before sees that it is gone.
    if (!path_.empty() && still_there(descriptor_, path_)) ::unlink(path_.c_str());
    ::close(std::exchange(descriptor_, -1));
}

}  // namespace coldtune::book
