#include <fmt/format.h>

#include "analyzer/picture/coil_pictures.hpp"
#include "analyzer/picture/svg_canvas.hpp"
#include "analyzer/picture/theme.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_parts.hpp"

namespace coldtune::share {
namespace {

using record::Unit;

class Facts {
public:
    void add(std::string_view name, std::string_view value) {
        rows_ +=
            fmt::format("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", escaped_html(name), escaped_html(value));
    }
    void length(std::string_view name, double metres) {
        add(name, record::format_quantity(metres, Unit::metre, 4, true));
    }
    [[nodiscard]] std::string table(std::string_view heading) const {
        return fmt::format("<h3>{}</h3>\n<table class=\"facts\">\n{}</table>\n", heading, rows_);
    }

private:
    std::string rows_;
};

std::string secondary(const model::Winding& w) {
    Facts facts;
    facts.length("Diameter, wire centre to centre", w.diameter_m);
    facts.length("Winding length", w.length_m);
    facts.add("Turns", fmt::format("{:.6g}", w.turns));
    facts.length("Wire, bare copper", w.wire_diameter_m);
    facts.length("Start above the ground", w.base_height_m);
    if (w.overall_wire_diameter_m) facts.length("Wire over its enamel", *w.overall_wire_diameter_m);
    return facts.table("Secondary");
}

std::string top_loads(const std::vector<model::TopLoadBody>& bodies) {
    std::string out;
    for (const model::TopLoadBody& body : bodies) {
        Facts facts;
        if (const auto* t = std::get_if<model::Toroid>(&body)) {
            facts.add("Shape", "toroid");
            facts.length("Outer diameter", t->outer_diameter_m);
            facts.length("Tube diameter", t->tube_diameter_m);
            facts.length("Centre above the winding", t->height_m);
        } else if (const auto* s = std::get_if<model::Sphere>(&body)) {
            facts.add("Shape", "sphere");
            facts.length("Diameter", s->diameter_m);
            facts.length("Centre above the winding", s->height_m);
        } else if (const auto* d = std::get_if<model::Disc>(&body)) {
            facts.add("Shape", "disc");
            facts.length("Diameter", d->diameter_m);
            facts.length("Above the winding", d->height_m);
        }
        out += facts.table("Top load");
    }
    return out.empty() ? "<h3>Top load</h3>\n<p>None: a bare coil.</p>\n" : out;
}

std::string surroundings(const model::Surroundings& s) {
    Facts facts;
    facts.add("Ground plane", s.ground ? "yes" : "no");
    if (s.wall_radius_m) facts.length("Wall, radius around the axis", *s.wall_radius_m);
    if (s.ceiling_height_m) facts.length("Ceiling above the ground", *s.ceiling_height_m);
    if (s.strike_ring) {
        facts.length("Strike ring, diameter", s.strike_ring->diameter_m);
        facts.length("Strike ring, height", s.strike_ring->height_m);
    }
    return facts.table("Surroundings");
}

std::string primary(const model::CoilDescription& coil) {
    std::string out;
    if (coil.primary) {
        const model::Primary& p = *coil.primary;
        Facts facts;
        facts.length("Mean diameter of the first turn", p.inner_diameter_m);
        facts.length("Pitch along the slope", p.pitch_m);
        facts.add("Turns", fmt::format("{:.6g}", p.turns));
        facts.length("Conductor diameter", p.conductor_diameter_m);
        facts.add("Angle above horizontal", record::format_quantity(p.angle_deg, Unit::degree, 3, true));
        facts.length("First turn above the ground", p.base_height_m);
        out += facts.table("Primary");
    }
    if (coil.tank) {
        Facts facts;
        facts.add("Capacitance", record::format_quantity(coil.tank->capacitance_f, Unit::farad, 4, true));
        if (coil.tank->tap_turns) facts.add("Tapped at", fmt::format("{:.6g} turns", *coil.tank->tap_turns));
        facts.add("Lead inductance", record::format_quantity(coil.tank->lead_inductance_h, Unit::henry, 3, true));
        out += facts.table("Tank");
    }
    return out;
}

}  // namespace

std::string coil_section(const Report& report) {
    const model::CoilDescription& coil = *report.coil;
    constexpr float kWidth = 420, kHeight = 520, kText = 15;
    const picture::Theme& theme = picture::light_theme();
    picture::SvgCanvas canvas(kWidth, kHeight, theme.panel, kText, "section");
    picture::draw_cross_section(canvas, {0, 0, kWidth, kHeight}, coil, theme, 1);
    std::string out = "<section><h2>The coil</h2>\n";
    if (report.coil_version > 0) {
        out += fmt::format("<p class=\"soft\">As described in the book, version {} of the description.</p>\n",
                           report.coil_version);
    }
    out += "<div class=\"beside\">\n<figure>\n";
    out += canvas.element("The coil in cross-section, to scale");
    out += "<figcaption>In cross-section, to scale.</figcaption>\n</figure>\n<div>\n";
    out += secondary(coil.secondary) + top_loads(coil.topload) + surroundings(coil.surroundings);
    out += "</div>\n</div>\n" + primary(coil);
    return out + "</section>\n";
}

std::string wiring_section(const Report& report) {
    constexpr float kWidth = 720, kHeight = 330, kText = 15;
    const picture::Theme& theme = picture::light_theme();
    std::string out = "<section><h2>Wiring</h2>\n";
    for (bench::Hookup hookup : hookups_of(report)) {
        const bench::HookupText& text = bench::describe(hookup);
        picture::SvgCanvas canvas(kWidth, kHeight, theme.panel, kText, "wiring" + std::string(text.name));
        const picture::WiringNames names{"line out", "input 1", "input 2", "R", "R load"};
        picture::draw_wiring(canvas, picture::wiring_area({0, 0, kWidth, kHeight}), hookup, names, theme, 1);
        out += fmt::format("<figure class=\"wiring\">\n{}<figcaption>Hookup {}. {}</figcaption>\n</figure>\n",
                           canvas.element(fmt::format("Wiring of the hookup {}", text.name)), text.name,
                           escaped_html(text.purpose));
    }
    return out + "</section>\n";
}

}  // namespace coldtune::share
