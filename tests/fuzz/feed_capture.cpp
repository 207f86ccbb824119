#include <algorithm>
#include <cmath>
#include <filesystem>
#include <vector>

#include "analyzer/audio/capture_file.hpp"
#include "tests/fuzz/memory_file.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {
namespace {

void require_samples(const std::vector<double>& samples, double sample_rate_hz) {
    require(!samples.empty() && samples.size() <= audio::most_capture_frames, "a capture has frames, not too many");
    require(std::all_of(samples.begin(), samples.end(), [](double s) { return std::abs(s) < 1e6; }),
            "samples are numbers near full scale");
    // The note may refine the header's whole hertz by half of one.
    require(sample_rate_hz >= audio::lowest_capture_rate_hz - 0.5 && sample_rate_hz <= audio::highest_capture_rate_hz,
            "the rate is in range");
}

// Piece by piece it must be the same capture, or refused as well.
void require_same_in_pieces(const std::filesystem::path& path, const Result<audio::CaptureFile>& whole) {
    auto reader = audio::CaptureReader::open(path);
    if (!reader) {
        require_refusal(reader.error());
        require(!whole.ok(), "what can be read at once can be read in pieces");
        return;
    }
    std::vector<double> generator, coil;
    for (;;) {
        const auto piece = reader->next(97);
        if (!piece) {
            require_refusal(piece.error());
            require(!whole.ok(), "what can be read at once can be read in pieces");
            return;
        }
        if (piece->frames() == 0) break;
        generator.insert(generator.end(), piece->generator.begin(), piece->generator.end());
        coil.insert(coil.end(), piece->coil.begin(), piece->coil.end());
    }
    require(whole.ok() && generator == whole->capture.generator && coil == whole->capture.coil, "pieces are the whole");
}

}  // namespace

void feed_capture(std::string_view bytes) {
    const MemoryFile file(bytes);
    const auto capture = audio::read_capture(file.path());
    require_same_in_pieces(file.path(), capture);
    if (capture) {
        require_samples(capture->capture.generator, capture->capture.sample_rate_hz);
        require_samples(capture->capture.coil, capture->capture.sample_rate_hz);
        require(capture->capture.generator.size() == capture->capture.coil.size(), "channels are of one length");
        require(capture->channels >= 2 && capture->bits > 8 && capture->bits <= 64, "the format is a usual one");
    } else {
        require_refusal(capture.error());
    }
    if (const auto stimulus = audio::read_mono(file.path())) {
        require_samples(stimulus->samples, stimulus->sample_rate_hz);
    } else {
        require_refusal(stimulus.error());
    }
}

}  // namespace coldtune::fuzz
