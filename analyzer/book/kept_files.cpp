#include "analyzer/book/kept_files.hpp"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <system_error>
#include <unordered_set>

#include "analyzer/book/seal.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/sha256.hpp"
#include "analyzer/record/utc_time.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using audio::SampleFormat;

// "0012-foot.flac": the number is one above every other in the folder and in the book, so that no name is given twice.
std::string next_name(const Book& book, const Places& places, std::string_view hookup, const char* extension) {
    int highest = 0;
    const auto look = [&](const std::string& name) {
        int number = 0;
        std::from_chars(name.data(), name.data() + name.size(), number);
        if (number < 1'000'000) highest = std::max(highest, number);
    };
    for (const KeptCapture& c : book.captures) look(c.kept.file);
    std::error_code fault;
    for (fs::directory_iterator entry(places.captures, fault), end; !fault && entry != end; entry.increment(fault)) {
        look(entry->path().filename().string());
    }
    return fmt::format("{:04}-{}{}", highest + 1, hookup, extension);
}

// Whether every sample is a whole number of `bits` bits, full scale being 1.
bool fits_pcm(const dsp::TwoChannelCapture& capture, int bits) {
    const double limit = std::ldexp(1.0, bits - 1);
    const auto fits = [&](double sample) {
        const double code = sample * limit;
        return code == std::nearbyint(code) && code >= -limit && code < limit;
    };
    return std::all_of(capture.generator.begin(), capture.generator.end(), fits) &&
           std::all_of(capture.coil.begin(), capture.coil.end(), fits);
}

bool fits_float(const dsp::TwoChannelCapture& capture) {
    const auto fits = [](double sample) { return static_cast<double>(static_cast<float>(sample)) == sample; };
    return std::all_of(capture.generator.begin(), capture.generator.end(), fits) &&
           std::all_of(capture.coil.begin(), capture.coil.end(), fits);
}

std::optional<SampleFormat> narrowest_pcm(const audio::CaptureFile& file) {
    if (!file.floating && file.bits <= 16) return SampleFormat::pcm16;
    if (!file.floating && file.bits <= 24) return SampleFormat::pcm24;
    if (fits_pcm(file.capture, 24)) return SampleFormat::pcm24;
    return std::nullopt;
}

bool is_flac(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::string magic(4, ' ');
    file.read(magic.data(), 4);
    return magic == "fLaC";
}

// Everything an analysis looks at.
bool same_content(const audio::CaptureFile& a, const audio::CaptureFile& b) {
    if (a.note.has_value() != b.note.has_value()) return false;
    if (a.note && (a.note->period_frames != b.note->period_frames || a.note->settle_periods != b.note->settle_periods ||
                   a.note->reference_ohm != b.note->reference_ohm)) {
        return false;
    }
    return a.capture.sample_rate_hz == b.capture.sample_rate_hz && a.capture.generator == b.capture.generator &&
           a.capture.coil == b.capture.coil;
}

// Writes, and reads back what was written.
Status write_lossless(const fs::path& target, const audio::CaptureFile& file, SampleFormat format) {
    if (Status written = audio::write_capture(target, file.capture, format, file.note); !written) return written;
    const auto back = audio::read_capture(target);
    if (back && same_content(*back, file)) return Done{};
    std::error_code ignored;
    fs::remove(target, ignored);
    return bad_input(fmt::format("{}: does not read back as it was written; check the disk",
                                 record::one_line(target.string(), 200)));
}

KeptCapture describe(const audio::CaptureFile& file, std::string_view hookup) {
    KeptCapture c;
    const bool known = file.note && bench::hookup_from_name(file.note->hookup).has_value();
    c.hookup = known ? file.note->hookup : std::string(hookup);
    c.sample_rate_hz = file.capture.sample_rate_hz;
    c.frames = file.capture.generator.size();
    if (file.note) {
        c.device = record::one_line(file.note->device, longest_name);
        if (record::is_utc_time(file.note->time_utc)) c.recorded_utc = file.note->time_utc;
    }
    return c;
}

Result<Kept> finish(const Places& places, KeptCapture capture, std::string file, std::string remark) {
    auto sum = record::sha256_of_file(places.captures / file);
    if (!sum) return sum.error();
    capture.kept = {std::move(file), std::move(sum->sha256), sum->bytes};
    capture.seal = seal_of(capture);
    return Kept{std::move(capture), true, std::move(remark)};
}

}  // namespace

Result<Kept> keep_capture(const Book& book, const Places& places, const fs::path& source, std::string_view hookup,
                          KeepAs as) {
    const auto file = audio::read_capture(source);
    if (!file) return file.error();
    std::error_code fault;
    const auto sum = record::sha256_of_file(fs::canonical(source, fault));
    if (!sum) return sum.error();
    for (const KeptCapture& c : book.captures) {
        const bool same = !c.altered && (c.origin_sha256 == sum->sha256 || c.kept.sha256 == sum->sha256);
        if (same && check_kept(places, c.kept)) return Kept{c, false, {}};
    }
    if (Status folder = require_folder(places.captures, true); !folder) return folder.error();
    KeptCapture capture = describe(*file, hookup);
    capture.origin = record::one_line(source.filename().string(), 200);
    capture.origin_sha256 = sum->sha256;
    const bool flac = is_flac(source);
    const auto pcm = file->channels == 2 ? narrowest_pcm(*file) : std::nullopt;
    std::string remark;
    if ((as == KeepAs::flac) != flac && !pcm) {
        remark = fmt::format("{} is kept as {}: {}", capture.origin, flac ? "FLAC" : "WAV",
                             file->channels != 2 ? "it has more than two channels"
                                                 : "its samples are finer than the 24 bits FLAC holds");
    }
    const bool to_flac = as == KeepAs::flac && (flac || pcm);
    const bool convert = to_flac != flac && pcm;  // otherwise it is copied as it is
    const std::string name = next_name(book, places, capture.hookup, (convert ? to_flac : flac) ? ".flac" : ".wav");
    const Status written = convert ? write_lossless(places.captures / name, *file, *pcm)
                                   : record::copy_file_atomically(source, places.captures / name);
    if (!written) return written.error();
    return finish(places, std::move(capture), name, std::move(remark));
}

Result<Kept> keep_recording(const Book& book, const Places& places, const audio::CaptureFile& recording,
                            std::string_view hookup, KeepAs as) {
    if (Status folder = require_folder(places.captures, true); !folder) return folder.error();
    KeptCapture capture = describe(recording, hookup);
    const bool whole = fits_pcm(recording.capture, 24);
    const bool to_flac = as == KeepAs::flac && whole;
    const SampleFormat format = to_flac                         ? SampleFormat::pcm24
                                : fits_float(recording.capture) ? SampleFormat::float32
                                                                : SampleFormat::float64;
    const std::string name = next_name(book, places, capture.hookup, to_flac ? ".flac" : ".wav");
    if (Status written = write_lossless(places.captures / name, recording, format); !written) return written.error();
    std::string remark;
    if (as == KeepAs::flac && !whole) {
        remark = fmt::format("{} is kept as WAV: its samples are finer than the 24 bits FLAC holds", name);
    }
    return finish(places, std::move(capture), name, std::move(remark));
}

Result<KeptFile> keep_text(const Places& places, const std::string& file, std::string_view text) {
    if (Status folder = require_folder(places.captures, true); !folder) return folder.error();
    if (Status written = record::write_file_atomically(places.captures / file, text); !written) return written.error();
    return KeptFile{file, record::sha256(text), text.size()};
}

Status check_kept(const Places& places, const KeptFile& kept) {
    if (Status folder = require_folder(places.captures, false); !folder) return folder;
    const fs::path path = places.captures / kept.file;
    const std::string name = record::one_line(path.string(), 200);
    struct stat status {};
    if (::lstat(path.c_str(), &status) != 0) {
        return bad_input(name + ": is missing; put it back from where the book was copied");
    }
    if (!S_ISREG(status.st_mode)) return bad_input(name + ": is no ordinary file; put the file itself there");
    if (static_cast<std::uint64_t>(status.st_size) != kept.bytes) {
        return bad_input(fmt::format("{}: holds {} bytes, not the {} it was kept with; it was changed or cut short",
                                     name, status.st_size, kept.bytes));
    }
    const auto sum = record::sha256_of_file(path);
    if (!sum) return sum.error();
    if (sum->sha256 == kept.sha256) return Done{};
    return bad_input(name + ": its checksum is not the one it was kept with; it was changed");
}

Result<audio::CaptureFile> read_kept_capture(const Places& places, const KeptCapture& capture) {
    if (Status sound = check_kept(places, capture.kept); !sound) return sound.error();
    return audio::read_capture(places.captures / capture.kept.file);
}

Result<std::string> read_kept_text(const Places& places, const KeptFile& kept) {
    if (Status sound = check_kept(places, kept); !sound) return sound.error();
    return record::read_text(places.captures / kept.file, longest_result_bytes);
}

void remove_kept(const Places& places, const KeptFile& kept) {
    std::error_code ignored;
    if (is_plain_file_name(kept.file)) fs::remove(places.captures / kept.file, ignored);
}

std::vector<std::string> missing_files(const Book& book, const Places& places) {
    std::vector<std::string> missing;
    const auto look = [&](const KeptFile& kept) {
        std::error_code ignored;
        if (!fs::is_regular_file(fs::symlink_status(places.captures / kept.file, ignored)))
            missing.push_back(kept.file);
    };
    for (const KeptCapture& c : book.captures) look(c.kept);
    for (const Run& r : book.runs) look(r.result_file);
    return missing;
}

std::vector<std::string> unknown_files(const Book& book, const Places& places) {
    std::unordered_set<std::string> known;
    for (const KeptCapture& c : book.captures) known.insert(c.kept.file);
    for (const Run& r : book.runs) known.insert(r.result_file.file);
    std::vector<std::string> unknown;
    std::error_code fault;
    for (fs::directory_iterator entry(places.captures, fault), end; !fault && entry != end; entry.increment(fault)) {
        std::string name = entry->path().filename().string();
        if (is_plain_file_name(name) && !known.contains(name)) unknown.push_back(std::move(name));
    }
    std::sort(unknown.begin(), unknown.end());
    return unknown;
}

}  // namespace coldtune::book
