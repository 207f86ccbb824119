#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

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

std::string plus_minus(std::string text) {
    // The terminal's "us" as well.
    for (auto at = text.find(" us"); at != std::string::npos; at = text.find(" us", at + 1)) {
        const char after = at + 3 < text.size() ? text[at + 3] : ' ';
        if (after < 'a' || after > 'z') text.replace(at + 1, 1, "\u00b5");
    }
    for (auto at = text.find("+-"); at != std::string::npos; at = text.find("+-", at)) text.replace(at, 2, "\u00b1");
    return text;
}

std::string signed_fixed(double value, int decimals) {
    std::string text = fmt::format("{:+.{}f}", value, decimals);
    if (text.find_first_of("123456789") == std::string::npos) text.erase(0, 1);
    return text;
}

std::optional<std::string> difference_from_calculated(const measure::MeasurementResult& result) {
    const auto percent = result.difference_percent();
    const auto calculated_hz = result.calculated_hz();
    if (!percent || !calculated_hz) return std::nullopt;
    const double difference_hz = result.resonance()->frequency_hz - *calculated_hz;
    return fmt::format("{} ({})", difference_words(*percent), hertz(std::abs(difference_hz), 3));
}

std::string window_words(std::string text) {
    // Longer ones first; `to` ends what is replaced where that varies.
    struct Words {
        std::string_view from, to, ours;
    };
    constexpr std::array<Words, 7> kWords = {{
        {"is analysed at the foot with --coupled", "",
         "is measured at the foot, standing with the tank closed (step 2)"},
        {"(--coupled)", "", "(with the tank closed)"},
        {"--input-c", "", "'Input and cable' in step 2"},
        {"give the coil's description (--coil)", "", "describe the coil in step 1"},
        {"(--coil)", "", "(step 1)"},
        {"(--coil COIL.json)", "", "(step 1)"},
        {"(--tap ", ")", "(beside its measurement)"},
    }};
    for (const Words& w : kWords) {
        const auto at = text.find(w.from);
        if (at == std::string::npos) continue;
        const auto end = text.find(w.to, at + w.from.size());
        if (end != std::string::npos) text.replace(at, end + w.to.size() - at, w.ours);
    }
    return text;
}

std::string q_words(const measure::Resonance& r) {
    return "Q " + record::format_with_uncertainty(*r.q, r.q_u95.value_or(-1), record::Unit::none, true);
}

std::string run_figure(const measure::MeasurementResult& result) {
    using record::format_with_uncertainty;
    using record::Unit;
    if (const auto* r = result.resonance()) {
        std::string figure = hertz_with(r->frequency_hz, r->frequency_u95_hz);
        if (r->q) figure += "   " + q_words(*r);
        return figure;
    }
    if (const measure::Pair* p = result.pair()) {
        return "k " + format_with_uncertainty(p->k, p->k_u95, Unit::none, true) + "   two peaks";
    }
    const auto* accepted = std::get_if<measure::Accepted>(&result.outcome);
    if (accepted != nullptr && accepted->coupling) {
        return "k " + format_with_uncertainty(accepted->coupling->k, accepted->coupling->k_u95, Unit::none, true);
    }
    if (accepted != nullptr && accepted->winding) {
        return "L " + format_with_uncertainty(accepted->winding->inductance_h, accepted->winding->inductance_u95_h,
                                              Unit::henry, true);
    }
    return "rejected";
}

std::string sentence(std::string text) {
    if (text.empty()) return text;
    if (text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    text = plus_minus(std::move(text));
    if (text.back() != '.' && text.back() != '?') text += '.';
    return text;
}

void finding(const Ui& ui, measure::Weight weight, const std::string& text) {
    const Color color = weight == measure::Weight::reject    ? ui.theme.rejected
                        : weight == measure::Weight::caution ? ui.theme.caution
                                                             : ui.theme.soft_ink;
    // A coloured edge tells the weight; the sentence stays in ink, to be read.
    const float indent = ui.px(12);
    const ImVec2 from = ImGui::GetCursorScreenPos();
    ImGui::Indent(indent);
    paragraph(ui, sentence(window_words(text)));
    ImGui::Unindent(indent);
    const float bottom = ImGui::GetItemRectMax().y;
    canvas_here(ui).rectangle({from.x, from.y + ui.px(2), from.x + ui.px(4), bottom}, color, ui.px(2));
}

void lines_table(const Ui& ui, const std::string& name, const std::vector<tuning::Line>& lines) {
    const bool remarks =
        std::any_of(lines.begin(), lines.end(), [](const tuning::Line& l) { return !l.remark.empty(); });
    const bool wide = remarks && ImGui::GetContentRegionAvail().x > ui.px(700);
    // Wider than this the eye loses its line.
    const float width = std::min(ImGui::GetContentRegionAvail().x, ui.px(900));
    if (!ImGui::BeginTable(name.c_str(), wide ? 3 : 2, ImGuiTableFlags_SizingStretchProp, {width, 0})) return;
    ImGui::TableSetupColumn("name", ImGuiTableColumnFlags_WidthFixed, ui.px(112));
    ImGui::TableSetupColumn("value", 0, 1);
    if (wide) ImGui::TableSetupColumn("remark", 0, 1.45F);
    for (const tuning::Line& line : lines) {
        ImGui::TableNextRow();
        ImGui::TableNextColumn();
        paragraph(ui, line.name, ui.theme.soft_ink);
        ImGui::TableNextColumn();
        paragraph(ui, plus_minus(line.value));
        if (wide) ImGui::TableNextColumn();
        if (!line.remark.empty()) soft(ui, plus_minus(line.remark));
    }
    ImGui::EndTable();
}

void findings_list(const Ui& ui, const std::vector<measure::Finding>& findings) {
    for (const measure::Finding& f : findings) finding(ui, f.weight, f.text);
}

}  // namespace coldtune::gui
