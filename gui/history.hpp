// Undo and redo of a value. Changes of one kind in a row (typing in one field) are one step.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace coldtune::gui {

template <typename T>
class History {
public:
    // To be called with the value BEFORE a change. `kind` names the change; "" is never joined with another.
    void before(const T& value, std::string_view kind) {
        ahead_.clear();
        if (!kind.empty() && kind == kind_ && !back_.empty()) return;
        kind_ = kind;
        back_.push_back(value);
        if (back_.size() > kMost) back_.erase(back_.begin());
    }
    [[nodiscard]] bool can_undo() const { return !back_.empty(); }
    [[nodiscard]] bool can_redo() const { return !ahead_.empty(); }
    // Changes every value kept, for what is no change of the user's.
    template <typename F>
    void amend(F change) {
        for (T& value : back_) change(value);
        for (T& value : ahead_) change(value);
    }
    void undo(T& value) { step(value, back_, ahead_); }
    void redo(T& value) { step(value, ahead_, back_); }

private:
    static constexpr std::size_t kMost = 200;
    void step(T& value, std::vector<T>& from, std::vector<T>& to) {
        if (from.empty()) return;
        to.push_back(std::exchange(value, std::move(from.back())));
        from.pop_back();
        kind_.clear();
    }
    std::vector<T> back_, ahead_;
    std::string kind_;
};

}  // namespace coldtune::gui
