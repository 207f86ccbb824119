// The description: its fields, and the file it lies in.
#include <fmt/format.h>

#include "analyzer/record/sha256.hpp"
#include "gui/app.hpp"

namespace coldtune::gui {

CoilDocument App::document() const {
    return {state_.coil, state_.coil_path, state_.coil_seen, state_.coil_saved};
}

void App::set_document(CoilDocument document) {
    state_.coil = std::move(document.form);
    state_.coil_path = std::move(document.path);
    state_.coil_seen = std::move(document.seen);
    state_.coil_saved = std::move(document.saved);
}

void App::act_on_coil(const Action& a) {
    // The description goes with a run: it stands still while one is made.
    if (state_.busy()) return;
    CoilForm& form = state_.coil;
    switch (a.what) {
        case Do::undo:
        case Do::redo: {
            // Beside the list of runs it is the run taken off last that is meant.
            if (a.what == Do::undo && state_.step == Step::sweep && !state_.deleted_runs.empty()) {
                return undo_delete();
            }
            CoilDocument other = document();
            if (a.what == Do::undo) {
                history_.undo(other);
            } else {
                history_.redo(other);
            }
            set_document(std::move(other));
            break;
        }
        case Do::set_name:
            coil_before("name");
            form.name = a.text;
            break;
        case Do::set_field: {
            if (find_field(a.key) == nullptr) return;
            const auto now = form.text.find(a.key);
            if (now != form.text.end() && now->second == a.text) return;
            coil_before(a.key);
            form.text[a.key] = a.text;
            break;
        }
        case Do::add_topload:
            coil_before("");
            add_topload(form, a.text);
            break;
        case Do::remove_topload:
            coil_before("");
            remove_topload(form, static_cast<std::size_t>(a.number));
            break;
        case Do::set_part: {
            coil_before("");
            const auto part = static_cast<CoilPart>(static_cast<int>(a.number));
            const bool on = a.text == "on";
            form.has[part] = on;
            // Parts that never were described start from sizes that can be looked at and changed.
            const CoilForm sample = first_form();
            for (const FieldSpec& f : part_fields(part)) {
                const std::string key(f.key);
                if (on && form.text[key].empty() && sample.text.contains(key)) form.text[key] = sample.text.at(key);
            }
            break;
        }
        case Do::open_coil:
        case Do::save_coil:
        case Do::save_anyway:
        case Do::read_theirs: {
            const bool answer = a.what == Do::save_anyway || a.what == Do::read_theirs;
            if (answer && !state_.conflict) return;
            const std::string path = answer ? state_.conflict->path : a.text.empty() ? state_.coil_path : a.text;
            if (path.empty()) return ask_for_path();
            state_.conflict.reset();
            if (a.what == Do::open_coil || a.what == Do::read_theirs) return open_coil(path);
            return save_coil(path, a.what == Do::save_anyway);
        }
        default:
            return;
    }
    coil_changed();
}

// A key was pressed before any file was named.
void App::ask_for_path() {
    state_.step = Step::coil;
    state_.complaint = "Write the file's name at the end of step 1 first, then Open or Save.";
}

void App::open_coil(const std::string& path) {
    auto opened = open_document(path);
    if (!opened) {
        state_.complaint = opened.error().message;
        return;
    }
    state_.notice = "Opened " + opened->path;
    state_.complaint.clear();
    if (document().unsaved() && opened->form != state_.coil && !state_folder_.empty()) {
        const auto kept = set_draft_aside(state_folder_, state_.coil);
        if (!kept) {
            state_.notice.clear();
            state_.complaint = "Not opened, as what is typed has nowhere to go: " + kept.error().message;
            return;
        }
        state_.notice += fmt::format("; the unsaved description so far is kept as {}", kept->string());
    }
    coil_before("");
    set_document(std::move(*opened));
    coil_changed();
}

void App::save_coil(const std::string& path, bool anyway) {
    const auto refuse = [&](std::string why) {
        state_.notice.clear();
        state_.complaint = std::move(why);
    };
    // Under a name that was neither opened nor saved here, no file is expected.
    const std::string named = std::filesystem::absolute(path).lexically_normal().string();
    const bool same_file = named == state_.coil_path;
    if (const std::string fault = why_not_saved(state_.coil); !fault.empty()) {
        state_.step = Step::coil;
        return refuse(fmt::format("Not saved: {}. Until it can be read, what is typed is kept as a draft.", fault));
    }
    const auto now = look_at(named);
    if (!now) return refuse(now.error().message);
    const std::string text = to_json(state_.coil);
    const FileSeen wanted{record::sha256(text)};
    const FileSeen expected = same_file ? state_.coil_seen : FileSeen{};
    if (!anyway && now->there() && *now != expected && *now != wanted) {
        state_.step = Step::coil;
        state_.conflict =
            State::Conflict{named, same_file && expected.there()
                                       ? fmt::format("{} was changed by another program since it was read here.", named)
                                       : fmt::format("{} is there already, and was not read here.", named)};
        return refuse({});
    }
    if (const Status saved = save_form(state_.coil, named); !saved) return refuse(saved.error().message);
    // The same description under its new name, also in what can be undone.
    history_.amend([&](CoilDocument& d) {
        if (d.path != state_.coil_path) return;
        d.path = named;
        d.seen = wanted;
        d.saved = state_.coil;
    });
    const bool was_unnamed = state_.coil_path.empty();
    state_.coil_path = named;
    state_.coil_seen = wanted;
    state_.coil_saved = state_.coil;
    state_.complaint.clear();
    state_.notice = "Saved " + named;
    take_runs_along(was_unnamed);
}

void App::settings_written(const Status& status) {
    state_.unkept = status ? std::string() : status.error().message;
}

}  // namespace coldtune::gui
