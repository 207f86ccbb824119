// That a sweep is not lost to a full disk: whether there is room is looked at before it, and a capture that cannot be
// written where it was to go is kept somewhere else.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/measure/session.hpp"

namespace coldtune::cli {

// What is going to be written into a folder.
struct Need {
    std::filesystem::path folder;
    std::uint64_t bytes = 0;
};

// About what a session writes: `captures` sweeps of 24 bits or more, and for a book the result with its curve. Errors
// (usage): the sweep asked for would be longer than a capture may be.
Result<std::uint64_t> bytes_of_session(const measure::SessionSettings& settings, std::size_t captures, bool book);

// Errors (bad_input): a folder may not be written into, a disk has less free than will be written to it. One that does
// not tell is believed to have room.
Status check_room(const std::vector<Need>& needs);

// Where captures go that nothing else could take: the person's state folder (XDG base directories), then the folder for
// temporary files, then memory.
std::vector<std::filesystem::path> rescue_folders();

// Keeps a capture without loss in the first of `folders` that takes it, under a name that is not there yet. Errors
// (bad_input): none does.
Result<std::filesystem::path> rescue_capture(const audio::CaptureFile& capture, std::string_view hookup,
                                             const std::vector<std::filesystem::path>& folders);

// `cause` with where the capture is now (also in `kept`), or that it is nowhere.
Error rescued(const Error& cause, const audio::CaptureFile& capture, std::string_view hookup,
              const std::vector<std::filesystem::path>& folders, std::filesystem::path* kept = nullptr);

}  // namespace coldtune::cli
