#include "analyzer/record/atomic_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <fstream>
#include <random>
#include <system_error>
#include <utility>
#include <vector>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t longest_kept_name = 200;  // of the target's name in the temporary's

// `path: could not be written: No space left on device; advice`
Error failure(const fs::path& path, int code, std::string_view advice) {
    return bad_input(fmt::format("{}: could not be written: {}; {}", one_line(path.string(), 200),
                                 std::generic_category().message(code), advice));
}

std::string_view advice_for(int code) {
    switch (code) {
        case ENOENT:
        case ENOTDIR:
            return "make its folder first";
        case EACCES:
        case EPERM:
        case EROFS:
            return "choose a folder you may write to";
        case ENOSPC:
        case EDQUOT:
        case EFBIG:
            return "free some space or choose another disk";
        case ENAMETOOLONG:
            return "choose a shorter name";
        default:
            return "choose another place";
    }
}

Error failure(const fs::path& path, int code) {
    return failure(path, code, advice_for(code));
}

// Where the content really goes when `target` is a link (also one that points at nothing yet).
Result<fs::path> follow_links(const fs::path& target) {
    fs::path path = target;
    for (int steps = 0; steps < 16; ++steps) {
        std::error_code fault;
        if (!fs::is_symlink(fs::symlink_status(path, fault))) return path;
        const fs::path next = fs::read_symlink(path, fault);
        if (fault) return failure(target, fault.value());
        path = next.is_absolute() ? next : path.parent_path() / next;
    }
    return failure(target, ELOOP, "the links lead in a circle");
}

fs::path folder_of(const fs::path& path) {
    const fs::path folder = path.parent_path();
    return folder.empty() ? fs::path(".") : folder;
}

// The rename lasts only once the folder is on the disk. Some file systems do not let folders be synced (EINVAL).
Status sync_folder(const fs::path& target) {
    const int folder = ::open(folder_of(target).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0) return Done{};  // may be written to but not listed: nothing more can be done
    const int outcome = ::fsync(folder) == 0 ? 0 : errno;
    ::close(folder);
    if (outcome != 0 && outcome != EINVAL && outcome != ENOTSUP) return failure(target, outcome);
    return Done{};
}

}  // namespace

Result<AtomicFile> AtomicFile::create(const fs::path& target) {
    if (target.empty() || !target.has_filename()) {
        return bad_input(fmt::format("{} names no file; give the file a name", in_quotes(target.string(), 200)));
    }
    auto followed = follow_links(target);
    if (!followed) return followed.error();
    AtomicFile file;
    file.target_ = *followed;
    struct stat before {};
    const bool replaces = ::stat(file.target_.c_str(), &before) == 0;
    if (replaces && S_ISDIR(before.st_mode)) {
        return bad_input(one_line(target.string(), 200) + ": is a folder; name a file in it");
    }
    if (replaces && !S_ISREG(before.st_mode)) {
        return bad_input(one_line(target.string(), 200) + ": is not an ordinary file; name one");
    }
    // A name of our own and O_EXCL in place of mkstemp: the kernel applies the process's file mode mask.
    std::random_device random;
    for (int attempt = 0; attempt < 100; ++attempt) {
        const std::string suffix = fmt::format(".{:08x}.part", random());
        file.temporary_ =
            folder_of(file.target_) / ("." + file.target_.filename().string().substr(0, longest_kept_name) + suffix);
        file.descriptor_ = ::open(file.temporary_.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (file.descriptor_ >= 0) break;
        if (errno != EEXIST) return failure(target, errno);
    }
    if (file.descriptor_ < 0) return failure(target, EEXIST);
    // Not being allowed to copy the permissions (another owner) is no reason to fail.
    if (replaces && ::fchmod(file.descriptor_, before.st_mode & 07777) != 0) errno = 0;
    return file;
}

AtomicFile::AtomicFile(AtomicFile&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)),
      target_(std::move(other.target_)),
      temporary_(std::move(other.temporary_)) {}

AtomicFile& AtomicFile::operator=(AtomicFile&& other) noexcept {
    if (this != &other) {
        abandon();
        descriptor_ = std::exchange(other.descriptor_, -1);
        target_ = std::move(other.target_);
        temporary_ = std::move(other.temporary_);
    }
    return *this;
}

AtomicFile::~AtomicFile() {
    abandon();
}

void AtomicFile::abandon() noexcept {
    if (descriptor_ < 0) return;
    ::close(descriptor_);
    ::unlink(temporary_.c_str());
    descriptor_ = -1;
}

Status AtomicFile::write(std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t written = ::write(descriptor_, bytes.data(), bytes.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0) return failure(target_, errno);
        bytes.remove_prefix(static_cast<std::size_t>(written));
    }
    return Done{};
}

Status AtomicFile::commit() {
    if (::fsync(descriptor_) != 0) return failure(target_, errno);
    // Some network file systems report a full disk only here.
    const int closed = ::close(std::exchange(descriptor_, -1)) == 0 ? 0 : errno;
    if (closed != 0 && closed != EINTR) {
        ::unlink(temporary_.c_str());
        return failure(target_, closed);
    }
    if (::rename(temporary_.c_str(), target_.c_str()) != 0) {
        const int code = errno;
        ::unlink(temporary_.c_str());
        return failure(target_, code);
    }
    return sync_folder(target_);
}

Status write_file_atomically(const fs::path& target, std::string_view bytes) {
    auto file = AtomicFile::create(target);
    if (!file) return file.error();
    if (Status written = file->write(bytes); !written) return written;
    return file->commit();
}

void remove_abandoned_temporaries(const fs::path& folder, std::string_view target_name) {
    std::error_code fault;
    std::vector<fs::path> abandoned;
    for (fs::directory_iterator entry(folder, fault), end; !fault && entry != end; entry.increment(fault)) {
        // As create() names them: .TARGET.xxxxxxxx.part
        const std::string name = entry->path().filename().string();
        constexpr std::size_t suffix = std::string_view(".00000000.part").size();
        if (name.size() <= suffix + 1 || name.front() != '.' || !name.ends_with(".part")) continue;
        const std::string_view random = std::string_view(name).substr(name.size() - suffix, 9);
        if (random.front() != '.' || random.find_first_not_of("0123456789abcdef", 1) != std::string_view::npos)
            continue;
        const std::string_view target = std::string_view(name).substr(1, name.size() - suffix - 1);
        if (target_name.empty() || target == target_name.substr(0, longest_kept_name))
            abandoned.push_back(entry->path());
    }
    for (const fs::path& path : abandoned) fs::remove(path, fault);
}

Status copy_file_atomically(const fs::path& from, const fs::path& to) {
    std::ifstream in(from, std::ios::binary);
    if (!in) return bad_input(one_line(from.string(), 200) + ": cannot be opened; check its permissions");
    auto copy = AtomicFile::create(to);
    if (!copy) return copy.error();
    std::vector<char> block(std::size_t{1} << 18);
    while (in) {
        in.read(block.data(), static_cast<std::streamsize>(block.size()));
        const std::string_view got(block.data(), static_cast<std::size_t>(in.gcount()));
        if (Status written = copy->write(got); !written) return written;
    }
    if (!in.eof()) return bad_input(one_line(from.string(), 200) + ": cannot be read to its end; check the disk");
    return copy->commit();
}

Status keep_under_second_name(const fs::path& from, const fs::path& to) {
    if (::link(from.c_str(), to.c_str()) == 0) return sync_folder(to);
    const int code = errno;
    // What file systems without links answer, and what a kernel answers that protects other people's files.
    if (code != EPERM && code != EOPNOTSUPP && code != EMLINK && code != EXDEV && code != ENOSYS)
        return failure(to, code);
    std::error_code fault;
    if (fs::exists(fs::symlink_status(to, fault))) return failure(to, EEXIST);
    return copy_file_atomically(from, to);
}

}  // namespace coldtune::record
