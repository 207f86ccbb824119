// The two ways `measure` gets its captures: two inputs at once, or one input with its standards in one open stream.
#pragma once

#include <filesystem>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/cli/console.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"

namespace coldtune::cli {

// Sweeps; what was recorded comes into `request.coil`.
Status sweep_two_inputs(audio::AudioPort& port, const measure::SessionSettings& settings, Console& console,
                        measure::AnalysisRequest& request);

// Where the captures of the standards go: OUT.open.wav beside OUT.wav.
std::filesystem::path standard_path(const std::filesystem::path& out, bench::Hookup standard);

// Asks for standard after standard and then for the coil, and sweeps each; all come into `request`, the standards named
// as what they are to be written to beside `out`. With a simulated port nobody is asked. Errors: as the session;
// rejected when standard input ends before the questions do.
Status sweep_one_input(audio::AudioPort& port, const measure::SessionSettings& settings, bool with_short,
                       const std::filesystem::path& out, Console& console, measure::AnalysisRequest& request);

// FLAC has no floating form; 24 bits hold what converters give.
Status write_by_extension(const std::filesystem::path& path, const audio::CaptureFile& file);

}  // namespace coldtune::cli
