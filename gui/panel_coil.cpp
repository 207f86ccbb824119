// Step 1: the coil as the builder measured it.
#include <utility>

#include "gui/panels.hpp"
#include "gui/pictures.hpp"

namespace coldtune::gui {
namespace {

const std::string* complaint_of(const State& s, const std::string& key) {
    const auto found = s.reading.complaints.find(key);
    return found == s.reading.complaints.end() ? nullptr : &found->second;
}

void field(const Ui& ui, const FieldSpec& spec, const std::string& key) {
    const auto found = ui.s.coil.text.find(key);
    static const std::string nothing;
    quantity_field(ui, spec, key, found == ui.s.coil.text.end() ? nothing : found->second, complaint_of(ui.s, key),
                   !ui.s.busy());
}

void toploads(const Ui& ui) {
    heading(ui, "Top load");
    if (ui.s.coil.topload_shapes.empty()) soft(ui, "None: the coil is bare.");
    for (std::size_t k = 0; k < ui.s.coil.topload_shapes.size(); ++k) {
        const std::string& shape = ui.s.coil.topload_shapes[k];
        ImGui::PushID(static_cast<int>(k));
        ImGui::AlignTextToFramePadding();
        paragraph(ui, shape == "toroid" ? "Toroid" : shape == "sphere" ? "Sphere" : "Disc");
        const std::string name = "topload.remove." + std::to_string(k);
        const float wide = ImGui::CalcTextSize("Remove").x + ui.px(22);
        ImGui::SameLine(ImGui::GetContentRegionMax().x - wide);
        if (button(ui, name, "Remove", ButtonKind::quiet, wide, !ui.s.busy())) {
            ui.ask(action(Do::remove_topload, static_cast<double>(k)));
        }
        for (const FieldSpec& spec : topload_fields(shape)) field(ui, spec, topload_key(k, spec.key));
        ImGui::PopID();
    }
    if (ui.s.coil.topload_shapes.size() >= kMostTopLoads) return;
    for (const auto& [shape, label] :
         {std::pair{"toroid", "Add toroid"}, {"sphere", "Add sphere"}, {"disc", "Add disc"}}) {
        if (shape != std::string_view("toroid")) {
            ImGui::SameLine(0, ui.px(6));
            // At large text the three do not fit beside one another.
            const float wide = ImGui::CalcTextSize(label).x + 2 * ImGui::GetStyle().FramePadding.x;
            if (ImGui::GetContentRegionAvail().x < wide) ImGui::NewLine();
        }
        if (button(ui, std::string("topload.add.") + shape, label, ButtonKind::ordinary, 0, !ui.s.busy())) {
            ui.ask(action(Do::add_topload, std::string(shape)));
        }
    }
}

void part(const Ui& ui, CoilPart which) {
    const auto found = ui.s.coil.has.find(which);
    bool on = found != ui.s.coil.has.end() && found->second;
    const std::string name = "part." + std::to_string(static_cast<int>(which));
    ImGui::BeginDisabled(ui.s.busy());
    if (ImGui::Checkbox((std::string(part_title(which)) + "##" + name).c_str(), &on)) {
        ui.ask({Do::set_part, {}, on ? "on" : "off", static_cast<double>(which), true});
    }
    ui.mark(name);
    ImGui::EndDisabled();
    if (!on) return;
    for (const FieldSpec& spec : part_fields(which)) field(ui, spec, std::string(spec.key));
}

// Somebody else's file is never overwritten unasked.
void file_conflict(const Ui& ui) {
    // Asked for from anywhere, so scrolled to at once; once only, or it would hold the list here.
    bool* told = ImGui::GetStateStorage()->GetBoolRef(ImGui::GetID("conflict.told"));
    const bool anew = !std::exchange(*told, ui.s.conflict.has_value());
    if (!ui.s.conflict) return;
    gap(ui, 6);
    paragraph(ui, ui.s.conflict->sentence, ui.theme.caution);
    if (button(ui, "conflict.save", "Save anyway")) ui.ask(action(Do::save_anyway));
    ImGui::SameLine();
    if (button(ui, "conflict.read", "Read theirs")) ui.ask(action(Do::read_theirs));
    soft(ui, "Reading theirs keeps what is typed here: Undo brings it back.");
    if (anew) ImGui::SetScrollHereY(1);
}

}  // namespace

void coil_fields_panel(const Ui& ui) {
    const State& s = ui.s;
    std::string name = s.coil.name;
    ImGui::BeginDisabled(s.busy());
    if (text_field(ui, "coil.name", "Name of the coil", name, -1)) ui.ask(action(Do::set_name, name));
    ImGui::EndDisabled();
    if (button(ui, "undo", "Undo", ButtonKind::ordinary, 0, s.can_undo && !s.busy())) ui.ask(action(Do::undo));
    ImGui::SameLine();
    if (button(ui, "redo", "Redo", ButtonKind::ordinary, 0, s.can_redo && !s.busy())) ui.ask(action(Do::redo));
    gap(ui, 6);
    heading(ui, "Winding");
    for (const FieldSpec& spec : winding_fields()) field(ui, spec, std::string(spec.key));
    gap(ui, 8);
    toploads(ui);
    gap(ui, 8);
    heading(ui, "Around it");
    for (CoilPart p : {CoilPart::ground, CoilPart::wall, CoilPart::ceiling, CoilPart::strike_ring, CoilPart::primary,
                       CoilPart::tank}) {
        part(ui, p);
    }
    gap(ui, 8);
    heading(ui, "How well it is measured");
    soft(ui, "Plus or minus. Left empty, common values stand in.");
    for (const FieldSpec& spec : tolerance_fields()) field(ui, spec, std::string(spec.key));
    gap(ui, 8);
    heading(ui, "File");
    std::string& path = ui.typing.try_emplace("coil.path", s.coil_path).first->second;
    // An undo may bring another file back.
    std::string& followed = ui.typing.try_emplace("coil.path.of", s.coil_path).first->second;
    if (followed != s.coil_path) path = followed = s.coil_path;
    text_field(ui, "coil.path", "folder/COIL.json", path, -1);
    if (button(ui, "coil.open", "Open", ButtonKind::ordinary, 0, !path.empty() && !s.busy())) {
        ui.ask(action(Do::open_coil, path));
    }
    ImGui::SameLine();
    if (button(ui, "coil.save", "Save", ButtonKind::ordinary, 0, !path.empty())) ui.ask(action(Do::save_coil, path));
    file_conflict(ui);
}

void coil_picture_panel(const Ui& ui, Rect area) {
    ImguiCanvas canvas = canvas_here(ui);
    canvas.rectangle(area, ui.theme.panel, ui.px(6));
    ui.mark("picture", area);
    const Rect inside = area.inset(ui.px(12));
    if (!ui.s.last_coil) {
        canvas.text(inside.centre(), "The picture follows once every field can be read.",
                    {ui.theme.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::middle});
        return;
    }
    canvas.clip(area);
    draw_cross_section(canvas, inside, *ui.s.last_coil, ui.theme, ui.scale);
    if (!ui.s.reading.coil) {
        // What it was stays in sight, and steps back: it is not what the fields say.
        canvas.rectangle(area, ui.theme.panel.with_alpha(170), ui.px(6));
        canvas.text({inside.left, inside.top}, "as it last could be read", {ui.theme.soft_ink});
        ui.mark("picture.before", area);
    }
    canvas.unclip();
}

}  // namespace coldtune::gui
