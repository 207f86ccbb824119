// The description as it is typed, finished or not, and how it stands to the file it came from.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "gui/coil_form.hpp"

namespace coldtune::gui {

// Every text as typed, also what no reader of COIL.json takes (schema "coldtune.draft.v1").
std::string draft_json(const CoilForm& form);
// Errors (bad_input): not a draft.
Result<CoilForm> form_from_draft(std::string_view json_text, std::string_view origin);

// What a file held when it was last read or written here, to notice other programs. The content decides: a time stamp
// may be too coarse to show a change, or be touched without one.
struct FileSeen {
    std::string sha256;  // "" = it was not there
    [[nodiscard]] bool there() const { return !sha256.empty(); }
    friend bool operator==(const FileSeen&, const FileSeen&) = default;
};
// Errors (bad_input): there, but no file that can be read.
Result<FileSeen> look_at(const std::filesystem::path& path);

// A description with its file.
struct CoilDocument {
    CoilForm form;
    std::string path;  // absolute; "" = none yet
    FileSeen seen;     // of that file
    CoilForm saved;    // what that file holds of it; without a file what a new user sees first
    [[nodiscard]] bool unsaved() const { return form != saved; }
    friend bool operator==(const CoilDocument&, const CoilDocument&) = default;
};
// Errors as of load_form.
Result<CoilDocument> open_document(const std::filesystem::path& path);
// The default description, to be written to a file that is not there yet.
CoilDocument new_document(const std::filesystem::path& path);

// Why the description cannot be saved, as one sentence: the fault that reading the file again would find. Empty when
// nothing stands against it.
std::string why_not_saved(const CoilForm& form);

// Unsaved descriptions in the state folder, one file a running window (draft-PID.json).
std::filesystem::path draft_path(const std::filesystem::path& state_folder);
// Gives the drafts of windows that are gone a name of their own, unsaved-DAY-TIME.json, unless `shown` says the same:
// then they are removed. Returns the new names.
std::vector<std::filesystem::path> recover_drafts(const std::filesystem::path& state_folder, const CoilForm& shown);
// Keeps a description that another is about to take the place of. Returns where.
Result<std::filesystem::path> set_draft_aside(const std::filesystem::path& state_folder, const CoilForm& form);

}  // namespace coldtune::gui
