#include <fmt/format.h>

#include "gui/panels.hpp"

namespace coldtune::gui {

std::string age_words(Clock::time_point then, Clock::time_point now) {
    const auto seconds = std::chrono::duration_cast<std::chrono::seconds>(now - then).count();
    if (seconds < 60) return "just now";
    const auto counted = [](long long n, const char* unit) {
        return fmt::format("{} {}{} ago", n, unit, n == 1 ? "" : "s");
    };
    if (seconds < 3600) return counted(seconds / 60, "minute");
    if (seconds < 86400) return counted(seconds / 3600, "hour");
    return counted(seconds / 86400, "day");
}

std::string verdict_words(measure::Verdict verdict) {
    switch (verdict) {
        case measure::Verdict::good:
            return "good";
        case measure::Verdict::caution:
            return "with caution";
        case measure::Verdict::rejected:
            return "rejected";
    }
    return "";
}

Color verdict_color(const Theme& theme, measure::Verdict verdict) {
    switch (verdict) {
        case measure::Verdict::good:
            return theme.good;
        case measure::Verdict::caution:
            return theme.caution;
        case measure::Verdict::rejected:
            return theme.rejected;
    }
    return theme.ink;
}

std::string sentence(std::string text) {
    if (text.empty()) return text;
    if (text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    for (auto at = text.find("+-"); at != std::string::npos; at = text.find("+-", at)) text.replace(at, 2, "\u00b1");
    if (text.back() != '.' && text.back() != '?') text += '.';
    return text;
}

void findings_list(const Ui& ui, const std::vector<measure::Finding>& findings) {
    for (const measure::Finding& f : findings) {
        const Color color = f.weight == measure::Weight::reject    ? ui.theme.rejected
                            : f.weight == measure::Weight::caution ? ui.theme.caution
                                                                   : ui.theme.soft_ink;
        // A coloured edge tells the weight; the sentence stays in ink, to be read.
        const float indent = ui.px(12);
        const ImVec2 from = ImGui::GetCursorScreenPos();
        ImGui::Indent(indent);
        paragraph(ui, sentence(f.text));
        ImGui::Unindent(indent);
        const float bottom = ImGui::GetItemRectMax().y;
        canvas_here(ui).rectangle({from.x, from.y + ui.px(2), from.x + ui.px(4), bottom}, color, ui.px(2));
    }
}

}  // namespace coldtune::gui
