// Captures too long to be held in memory, of a stimulus with a known period: hours of it, to bring a weak signal out of
// noise.
//
// The capture goes through memory in pieces of whole periods. Each piece is examined and gives its response (drift
// against the player's clock removed), as a capture of its own would. The responses are averaged in a few groups of
// neighbouring pieces, and a short capture is put together that has the groups' responses, one steady period each: its
// scatter from period to period is that from group to group, so that what moved or warmed over the hours is in the
// uncertainty, and the analysis of short captures does the rest.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <vector>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/finding.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

// 22 s at 192 kHz: with its spectra about 300 MB.
inline constexpr std::size_t kPieceFrames = std::size_t{1} << 22;

struct CondensedCapture {
    audio::CaptureFile file;  // steady from its first frame to its last
    std::size_t period_frames = 0;
    std::size_t periods = 0;                // averaged, of the whole capture
    std::optional<double> clock_drift_ppm;  // mean over the pieces
    std::vector<Finding> findings;          // of the pieces, each kind once, the first one said
};

// `period_frames` nullopt: the file's note, when the signal confirms it. Errors (bad_input, one line with the file's
// name): as of audio::CaptureReader; no known period, or one too long for pieces of this size; fewer than two pieces
// with the signal in them; a piece in the middle that gives no response.
Result<CondensedCapture> condense(const std::filesystem::path& path, bench::Hookup hookup,
                                  std::optional<std::size_t> period_frames, std::optional<std::size_t> settle_periods,
                                  std::size_t piece_frames_at_most = kPieceFrames);

// Whether a capture is too long for audio::read_capture (false for what cannot be opened: reading it will say why).
bool is_long_capture(const std::filesystem::path& path);

// analyze() of a condensed capture: `request` with everything but the capture itself. A finding of any piece that
// rejects, rejects the whole.
Result<MeasurementResult> analyze_condensed(AnalysisRequest request, CondensedCapture capture);

}  // namespace coldtune::measure
