#include "analyzer/cli/rescue.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdlib>
#include <map>
#include <system_error>

#include "analyzer/book/kept_files.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::cli {
namespace {

namespace fs = std::filesystem;

// The session chooses for itself where nothing was asked: about two thirds of a second a period, 7 s in all.
constexpr double usual_period_s = 2.0 / 3, usual_sweep_s = 7;
// 24 bits on two channels: the least that keeps a sweep without loss. FLAC takes a little less, float WAV a third more.
constexpr double bytes_a_frame = 6;
// As JSON a bin of the curve takes about 90 bytes, and there are at most as many bins as half a period has frames.
constexpr double bytes_a_bin = 90;

std::string megabytes(std::uint64_t bytes) {
    return fmt::format("{:.1f} MB", static_cast<double>(bytes) / 1e6);
}

fs::path folder_there(const fs::path& folder) {
    return folder.empty() ? fs::path(".") : folder;
}

}  // namespace

Result<std::uint64_t> bytes_of_session(const measure::SessionSettings& s, std::size_t captures, bool book) {
    const double period =
        s.period_frames ? static_cast<double>(*s.period_frames) : std::round(usual_period_s * s.sample_rate_hz);
    const double frames =
        s.periods ? period * static_cast<double>(*s.periods) : std::max(usual_sweep_s * s.sample_rate_hz, 4 * period);
    if (frames > static_cast<double>(audio::most_capture_frames)) {
        return usage_error(
            fmt::format("a sweep of {:.0f} frames is longer than a capture may be ({}); ask for fewer or "
                        "shorter periods",
                        frames, audio::most_capture_frames));
    }
    const double bytes = static_cast<double>(captures) * frames * bytes_a_frame + (book ? period / 2 * bytes_a_bin : 0);
    return static_cast<std::uint64_t>(bytes);
}

Status check_room(const std::vector<Need>& needs) {
    struct Disk {
        fs::path folder;
        std::uint64_t bytes = 0;
    };
    std::map<dev_t, Disk> disks;
    for (const Need& need : needs) {
        struct stat status {};
        const fs::path folder = folder_there(need.folder);
        if (::stat(folder.c_str(), &status) != 0) continue;  // writing will say it
        if (::faccessat(AT_FDCWD, folder.c_str(), W_OK, AT_EACCESS) != 0) {
            return bad_input(
                fmt::format("{}: no file can be written into this folder ({}); choose another place, "
                            "nothing was swept",
                            record::one_line(folder.string(), 200), std::generic_category().message(errno)));
        }
        Disk& disk = disks[status.st_dev];
        disk.folder = folder;
        disk.bytes += need.bytes;
    }
    for (const auto& [device, disk] : disks) {
        std::error_code fault;
        const fs::space_info room = fs::space(disk.folder, fault);
        if (fault || room.capacity == 0 || room.available >= disk.bytes) continue;
        return bad_input(
            fmt::format("{}: the disk has {} free and the sweep needs about {}; free some space or choose "
                        "another place, nothing was swept",
                        record::one_line(disk.folder.string(), 200), megabytes(room.available), megabytes(disk.bytes)));
    }
    return Done{};
}

std::vector<fs::path> rescue_folders() {
    std::vector<fs::path> folders;
    const auto variable = [](const char* name) {
        const char* value = std::getenv(name);
        return fs::path(value != nullptr ? value : "");
    };
    if (const fs::path state = variable("XDG_STATE_HOME"); state.is_absolute()) {
        folders.push_back(state / "coldtune" / "rescued");
    } else if (const fs::path home = variable("HOME"); home.is_absolute()) {
        folders.push_back(home / ".local" / "state" / "coldtune" / "rescued");
    }
    // Others write there too, and what belongs to the first of them would be shut to the next: one folder for each
    // user.
    const std::string own = fmt::format("coldtune-rescued-{}", getuid());
    std::error_code fault;
    if (const fs::path temporary = fs::temp_directory_path(fault); !fault) folders.push_back(temporary / own);
    if (fs::is_directory("/dev/shm", fault)) folders.push_back(fs::path("/dev/shm") / own);
    return folders;
}

Result<fs::path> rescue_capture(const audio::CaptureFile& capture, std::string_view hookup,
                                const std::vector<fs::path>& folders) {
    std::string tried;
    for (const fs::path& folder : folders) {
        std::error_code fault;
        fs::create_directories(folder, fault);
        book::Places places;
        places.captures = folder;
        // As a book keeps its recordings: losslessly, read back, under a number of its own.
        const auto kept = book::keep_recording({}, places, capture, hookup, book::KeepAs::flac);
        if (kept) return folder / kept->capture.kept.file;
        tried += (tried.empty() ? "" : ", ") + record::one_line(folder.string(), 200);
    }
    return bad_input(fmt::format("no other place took the capture ({}), it is lost; free some space and sweep again",
                                 tried.empty() ? "none is known" : tried));
}

Error rescued(const Error& cause, const audio::CaptureFile& capture, std::string_view hookup,
              const std::vector<fs::path>& folders, fs::path* kept_as) {
    const auto kept = rescue_capture(capture, hookup, folders);
    if (kept && kept_as != nullptr) *kept_as = *kept;
    return {cause.kind, kept ? fmt::format("{}; the capture is kept as {}, move it from there", cause.message,
                                           record::one_line(kept->string(), 200))
                             : fmt::format("{}; {}", cause.message, kept.error().message)};
}

}  // namespace coldtune::cli
