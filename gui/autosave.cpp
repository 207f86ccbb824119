#include "gui/autosave.hpp"

#include <algorithm>
#include <utility>

#include "analyzer/record/atomic_file.hpp"
#include "gui/coil_draft.hpp"

namespace coldtune::gui {

Autosave::Autosave(std::filesystem::path settings, std::filesystem::path state_folder, std::function<void()> wake)
    : settings_(std::move(settings)),
      state_folder_(std::move(state_folder)),
      wake_(std::move(wake)),
      writer_([this](const std::stop_token& quit) { loop(quit); }) {}

Autosave::~Autosave() = default;

void Autosave::look(const Remembered& now, Steady::time_point at) {
    if (!seen_) {
        seen_ = now;
        return;
    }
    if (!(now == *seen_)) {
        seen_ = now;
        changed_at_ = at;
        if (!unwritten_since_) unwritten_since_ = at;
    }
    const auto left = due_in(at);
    if (!left || *left > Steady::duration::zero()) return;
    changed_at_.reset();
    unwritten_since_.reset();
    const std::scoped_lock lock(mutex_);
    waiting_ = now;
    work_.notify_all();
}

std::optional<Autosave::Steady::duration> Autosave::due_in(Steady::time_point at) const {
    if (!changed_at_) return std::nullopt;
    return std::max(std::min(*changed_at_ + kRest, *unwritten_since_ + kMost) - at, Steady::duration::zero());
}

std::optional<Status> Autosave::take_outcome() {
    const std::scoped_lock lock(mutex_);
    return std::exchange(outcome_, std::nullopt);
}

Status Autosave::finish(const Remembered& last) {
    writer_.request_stop();
    if (writer_.joinable()) writer_.join();
    return write(last);
}

void Autosave::loop(const std::stop_token& quit) {
    while (true) {
        Remembered what;
        {
            std::unique_lock lock(mutex_);
            if (!work_.wait(lock, quit, [&] { return waiting_.has_value(); })) return;
            what = std::move(*waiting_);
            waiting_.reset();
        }
        Status written = write(what);
        {
            const std::scoped_lock lock(mutex_);
            outcome_ = std::move(written);
        }
        if (wake_) wake_();
    }
}

// Both are tried, whatever becomes of the other; the draft first, as it cannot be typed again.
Status Autosave::write(const Remembered& what) const {
    Status draft = Done{};
    if (!state_folder_.empty() && what.document.unsaved()) {
        std::error_code refused;
        std::filesystem::create_directories(state_folder_, refused);
        draft = record::write_file_atomically(draft_path(state_folder_), draft_json(what.document.form));
    }
    Status settings = save_settings(what, settings_);
    if (!state_folder_.empty() && !what.document.unsaved()) {
        std::error_code not_there;
        std::filesystem::remove(draft_path(state_folder_), not_there);
    }
    return draft ? settings : draft;
}

}  // namespace coldtune::gui
