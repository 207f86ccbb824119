// Files that are there whole or not at all (POSIX).
//
// A temporary is written beside the target, forced to the disk and renamed over it; then the folder's entry is forced
// to the disk too. Whatever fails in between, the target keeps what it held and the temporary is removed.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::record {

class AtomicFile {
public:
    // Opens the temporary. A link is followed: what it points at is replaced, not the link. Errors (bad_input): the
    // folder is missing or not writable, the target is a folder or no ordinary file (a device, a pipe).
    static Result<AtomicFile> create(const std::filesystem::path& target);

    AtomicFile(AtomicFile&& other) noexcept;
    AtomicFile& operator=(AtomicFile&& other) noexcept;
    AtomicFile(const AtomicFile&) = delete;
    AtomicFile& operator=(const AtomicFile&) = delete;
    ~AtomicFile();  // without a commit: removes the temporary

    // For libraries that write by themselves. Stays this object's to close.
    [[nodiscard]] int descriptor() const { return descriptor_; }

    Status write(std::string_view bytes);

    // Makes the temporary the target, with the permissions of the file it replaces or, for a new one, those the process
    // gives new files. To be called once.
    Status commit();

private:
    AtomicFile() = default;
    void abandon() noexcept;

    int descriptor_ = -1;
    std::filesystem::path target_;  // links resolved
    std::filesystem::path temporary_;
};

// All of it in one call.
Status write_file_atomically(const std::filesystem::path& target, std::string_view bytes);

// Removes the temporaries that writers killed in the middle left in `folder`: those of `target_name`, or of every
// target when it is empty. Only for a caller who knows that nobody is writing there. What cannot be removed stays.
void remove_abandoned_temporaries(const std::filesystem::path& folder, std::string_view target_name = {});

// The bytes of `from` as `to`, there whole or not at all.
Status copy_file_atomically(const std::filesystem::path& from, const std::filesystem::path& to);

// Gives the file `from` the further name `to` without ever touching what is in it: a hard link, or a copy written
// atomically where the file system has no links. `to` must not exist. Forces the folder's entry to the disk.
Status keep_under_second_name(const std::filesystem::path& from, const std::filesystem::path& to);

}  // namespace coldtune::record
