// Captures and results in NAME.captures: brought in without losing a bit, read back with their checksums.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/book/book.hpp"
#include "analyzer/book/places.hpp"

namespace coldtune::book {

// Of a result's text: with a curve of two million points.
inline constexpr std::size_t longest_result_bytes = std::size_t{256} << 20;

enum class KeepAs { flac, wav };

struct Kept {
    KeptCapture capture;
    bool fresh = false;  // written now; otherwise the book had it already
    std::string remark;  // when it was not kept as asked, why; "" otherwise
};

// Brings a capture file in. FLAC holds whole numbers of at most 24 bits: what does not fit (finer samples, more than
// two channels) is kept as the WAV file it is. Where the file already is what is asked for it is copied byte for byte;
// otherwise it is written anew and compared sample by sample. A file whose content the book has already is not kept
// twice. `hookup` stands in where the capture has no note. Errors as of audio::read_capture and of writing.
Result<Kept> keep_capture(const Book& book, const Places& places, const std::filesystem::path& source,
                          std::string_view hookup, KeepAs as);

// The same for a recording that is in memory only: FLAC where it fits, else the narrowest float WAV that holds it.
Result<Kept> keep_recording(const Book& book, const Places& places, const audio::CaptureFile& recording,
                            std::string_view hookup, KeepAs as);

// A result's text, as `file`.
Result<KeptFile> keep_text(const Places& places, const std::string& file, std::string_view text);

// Whether the file is there as the book says, told before anything of it is taken in. Errors (bad_input): missing, a
// link or no ordinary file, another size, another checksum.
Status check_kept(const Places& places, const KeptFile& kept);

Result<audio::CaptureFile> read_kept_capture(const Places& places, const KeptCapture& capture);
Result<std::string> read_kept_text(const Places& places, const KeptFile& kept);

// Takes back what was kept for nothing.
void remove_kept(const Places& places, const KeptFile& kept);

// Names of kept files that are not there, in the order of the book. Their content is not looked at.
std::vector<std::string> missing_files(const Book& book, const Places& places);

// Names in the captures folder that the book does not speak of, sorted.
std::vector<std::string> unknown_files(const Book& book, const Places& places);

}  // namespace coldtune::book
