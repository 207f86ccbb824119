// What the window remembers between two days: its size and looks, the bench, the coil. Kept where the XDG base
// directory specification puts such things.
#pragma once

#include <filesystem>
#include <string>

#include "gui/bench_form.hpp"
#include "gui/coil_draft.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

struct Remembered {
    int width = 1280, height = 800;
    bool dark = false;
    double text_scale = 1;
    BenchForm bench;
    CoilDocument document = new_document({});      // as typed, finished or not
    TuningForm tuning;                             // with what its measurements wrote: a tune takes more than a day
    std::vector<std::string> forgotten_standards;  // in the bench books, by checksum
    friend bool operator==(const Remembered&, const Remembered&) = default;
};

// $XDG_CONFIG_HOME/coldtune/window.json, else ~/.config/coldtune/window.json; empty without either.
std::filesystem::path settings_path();
// $XDG_STATE_HOME/coldtune, else ~/.local/state/coldtune; empty without either. For what is no setting: descriptions
// nobody has saved, runs of a coil without a file.
std::filesystem::path state_folder();
// Where pictures go: the folder the program was started in.
std::filesystem::path pictures_folder();

// Whatever cannot be read or makes no sense is replaced by its default: a spoiled file must never keep the window shut.
// A description that nobody changed here is read from its file again; `document.saved` is what that file holds now.
Remembered load_settings(const std::filesystem::path& path);
Status save_settings(const Remembered& remembered, const std::filesystem::path& path);
Remembered remembered_of(const State& state, int width, int height);

}  // namespace coldtune::gui
