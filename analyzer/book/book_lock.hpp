// One writer for one book: the lock that two windows, or a window and a command, cannot both hold.
#pragma once

#include <filesystem>

#include "analyzer/book/places.hpp"

namespace coldtune::book {

// A lock of the kernel (flock) on NAME.lock, which also says who holds it. It ends with the process whatever ends that,
// so a file left over by a crash or a kill keeps nobody out; one who ends in order removes the file.
class BookLock {
public:
    // Does not wait. Errors (bad_input): somebody holds it (says which process, and what to do), or nothing can be
    // written there.
    static Result<BookLock> take(const Places& places);

    BookLock(BookLock&& other) noexcept;
    BookLock& operator=(BookLock&& other) noexcept;
    BookLock(const BookLock&) = delete;
    BookLock& operator=(const BookLock&) = delete;
    ~BookLock();

private:
    BookLock(int descriptor, std::filesystem::path path) : descriptor_(descriptor), path_(std::move(path)) {}
    void release() noexcept;

    int descriptor_ = -1;
    std::filesystem::path path_;
};

}  // namespace coldtune::book
