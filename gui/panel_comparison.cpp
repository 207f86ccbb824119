// Two runs against one another: what analyzer/tuning says of them.
#include <fmt/format.h>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

// Where a reader of the window finds what the comparison lacks.
constexpr tuning::Ways kComparisonWays = {"", "sweep the winding hookup",
                                          "one run without the top load and one with it"};

void q_line(const Ui& ui, const Run& a, const Run& b) {
    const auto *ra = a.result.resonance(), *rb = b.result.resonance();
    if (ra == nullptr || rb == nullptr || !ra->q || !rb->q) return;
    soft(ui, fmt::format("from {} to {}", q_words(*ra), q_words(*rb)));
}

}  // namespace

void comparison_panel(const Ui& ui) {
    const State& s = ui.s;
    if (!s.compare_run) return;
    const Run* a = s.run(*s.compare_run);
    const Run* b = s.selected();
    if (a == nullptr || b == nullptr) return;
    heading(ui, fmt::format("{} against {}", b->name, a->name));
    if (a->id == b->id) {
        soft(ui, "Choose another run to compare with this one.");
        return;
    }
    const auto& outcome = s.comparison.outcome;
    if (!outcome) {
        soft(ui, s.comparison.pending ? "comparing ..." : " ");
        return;
    }
    if (!outcome->complaint.empty()) {
        finding(ui, measure::Weight::caution, outcome->complaint);
        return;
    }
    if (outcome->tank_shift) {
        const tuning::TopLoadShift& t = *outcome->tank_shift;
        using record::format_with_uncertainty;
        lines_table(ui, "comparison",
                    {{"shift", format_with_uncertainty(t.shift_hz, t.shift_u95_hz, record::Unit::hertz),
                      fmt::format("{} %, 95 %", format_with_uncertainty(100 * t.relative, 100 * t.relative_u95,
                                                                        record::Unit::none))}});
        ui.mark("comparison");
        q_line(ui, *a, *b);
        return;
    }
    lines_table(ui, "comparison", tuning::compare_lines(*outcome->request, *outcome->compare, kComparisonWays));
    ui.mark("comparison");
    q_line(ui, *a, *b);
    for (const tuning::Remark& r : outcome->compare->remarks) finding(ui, r.weight, r.text);
}

}  // namespace coldtune::gui
