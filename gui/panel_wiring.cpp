// Step 2: what is wired to what, and whether it sounds right.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gui/panels.hpp"
#include "gui/pictures.hpp"

namespace coldtune::gui {
namespace {

const audio::DeviceInfo* current_device(const State& s) {
    for (const audio::DeviceInfo& d : s.devices) {
        if (d.name == s.bench.device) return &d;
    }
    return nullptr;
}

// What stands there besides what step 1 says, as far as the hookup lets it matter.
void standing(const Ui& ui) {
    const State& s = ui.s;
    std::vector<std::pair<Standing, std::string>> ways;
    const char* label = "The coil stands";
    switch (s.bench.hookup) {
        case bench::Hookup::foot:
            ways = {{Standing::described, "As described"},
                    {Standing::bare, "Its top load taken off"},
                    {Standing::tank_closed, "With the tank closed"}};
            break;
        case bench::Hookup::pickup:
            ways = {{Standing::described, "As described"}, {Standing::bare, "Its top load taken off"}};
            break;
        case bench::Hookup::winding:
            label = "The primary is";
            ways = {{Standing::described, "Open"}, {Standing::primary_shorted, "Shorted on itself"}};
            break;
        default:
            return;
    }
    std::vector<std::string> names;
    int chosen = 0;
    for (const auto& [way, name] : ways) {
        if (way == s.bench.standing()) chosen = static_cast<int>(names.size());
        names.push_back(name);
    }
    const int picked = choice(ui, "bench.standing", label, names, chosen, !s.busy());
    if (picked >= 0) {
        ui.ask(action(Do::set_standing, static_cast<double>(ways[static_cast<std::size_t>(picked)].first)));
    }
    if (s.bench.standing() == Standing::tank_closed) {
        soft(ui, "Two peaks are sought together: the circuits' own frequencies, their Q and the coupling.");
    } else if (s.bench.standing() == Standing::primary_shorted) {
        soft(ui, "After a sweep with the primary open; the two tell the coupling.");
    }
}

void device_choice(const Ui& ui) {
    const State& s = ui.s;
    std::vector<std::string> names{"Simulated bench"};
    std::vector<std::string> devices{std::string(kSimulated)};
    int chosen = s.bench.simulated() ? 0 : -1;
    for (const audio::DeviceInfo& d : s.devices) {
        if (d.name == s.bench.device) chosen = static_cast<int>(names.size());
        names.push_back(fmt::format("{}  ({})", d.name, d.host));
        devices.push_back(d.name);
    }
    if (chosen < 0) {
        // A remembered interface that is not plugged in now.
        chosen = static_cast<int>(names.size());
        names.push_back(s.bench.device + "  (not found)");
        devices.push_back(s.bench.device);
    }
    const int picked = choice(ui, "bench.device", "Interface", names, chosen, !s.busy());
    if (picked >= 0) ui.ask(action(Do::set_device, devices[static_cast<std::size_t>(picked)]));
    if (button(ui, "devices.list", s.listing_devices ? "Looking ..." : "Look for interfaces", ButtonKind::quiet, 0,
               !s.listing_devices && !s.busy())) {
        ui.ask(action(Do::list_devices));
    }
    if (!s.devices_complaint.empty()) paragraph(ui, s.devices_complaint, ui.theme.caution);
    if (s.bench.simulated()) {
        soft(ui,
             "The simulated bench plays the coil you describe, a little off its description, as a real one is. "
             "Its results are practice, not measurements.");
    }
}

void rate_and_channels(const Ui& ui) {
    const State& s = ui.s;
    const audio::DeviceInfo* device = current_device(s);
    std::vector<double> rates = device != nullptr && !device->rates_hz.empty()
                                    ? device->rates_hz
                                    : std::vector<double>{44100, 48000, 88200, 96000, 176400, 192000};
    int chosen = -1;
    std::vector<std::string> names;
    for (double rate : rates) {
        if (std::abs(rate - s.bench.sample_rate_hz) < 0.5) chosen = static_cast<int>(names.size());
        names.push_back(rate_words(rate));
    }
    const int picked = choice(ui, "bench.rate", "Sample rate", names, chosen, !s.busy());
    if (picked >= 0) ui.ask(action(Do::set_rate, rates[static_cast<std::size_t>(picked)]));

    const auto channels = [&](const char* name, std::string_view label, bool output, int now, Do what) {
        const int count = std::clamp(device == nullptr ? 2
                                     : output          ? device->output_channels
                                                       : device->input_channels,
                                     1, 64);
        std::vector<std::string> list;
        for (int k = 0; k < std::max(count, now + 1); ++k) {
            list.push_back(fmt::format("{} {}", output ? "Output" : "Input", k + 1));
        }
        const int picked_channel = choice(ui, name, label, list, now, !s.busy());
        if (picked_channel >= 0) ui.ask(action(what, static_cast<double>(picked_channel)));
    };
    if (!s.bench.simulated()) {
        channels("bench.output", "Generator", true, s.bench.output_channel, Do::set_output);
    }
    channels("bench.generator_input", "Generator side", false, s.bench.generator_input, Do::set_generator_input);
    channels("bench.coil_input", "Coil side", false, s.bench.coil_input, Do::set_coil_input);
    if (const auto wrong = s.bench_reading.complaints.find("bench.channels");
        wrong != s.bench_reading.complaints.end()) {
        paragraph(ui, wrong->second, ui.theme.rejected);
    }
}

void check(const Ui& ui) {
    const State& s = ui.s;
    heading(ui, "Does it sound right?");
    soft(ui, "Plays softly for about two seconds and says what it hears.");
    const bool running = s.progress.task == Task::wiring_check;
    if (button(ui, "wiring.check", running ? "Stop" : "Check the wiring", ButtonKind::primary, -1,
               !s.busy() || running)) {
        ui.ask(action(running ? Do::stop : Do::check_wiring));
    }
    const bool listening = s.progress.task == Task::listen;
    if (button(ui, "wiring.listen", listening ? "Stop listening" : "Show the input levels", ButtonKind::quiet, -1,
               !s.busy() || listening)) {
        ui.ask(action(Do::listen_or_stop));
    }
    meters(ui);
    for (const FieldSpec& spec : bench_fields()) {
        const auto wrong = s.bench_reading.complaints.find(spec.key);
        if (wrong == s.bench_reading.complaints.end()) continue;
        complaint_line(ui, wrong->first, std::string(spec.label) + ": " + wrong->second);
    }
    if (!s.wiring_check) return;
    const WiringCheck& c = *s.wiring_check;
    if (!c.complaint.empty()) {
        paragraph(ui, c.complaint, ui.theme.rejected);
    } else if (c.good) {
        heading(ui, "Good: both sides are heard, cleanly.");
    }
    findings_list(ui, c.findings);
}

}  // namespace

void meters(const Ui& ui) {
    const State& s = ui.s;
    const auto meter = [&](std::string_view label, const Meter& m, const std::string& name) {
        const float all = ImGui::GetContentRegionAvail().x;
        const Rect area = room(all, ImGui::GetFontSize() * 1.5F);
        ui.mark(name, area);
        ImguiCanvas canvas = canvas_here(ui);
        const float label_width =
                        std::max(std::floor(all * 0.42F), ImGui::CalcTextSize("Generator side").x + ui.px(12)),
                    text_width = canvas.extent("-88.8 dBFS", 0, Weight::regular).x;
        const Rect bar{area.left + label_width, area.centre().y - ui.px(5), area.right - text_width - ui.px(10),
                       area.centre().y + ui.px(5)};
        canvas.text({area.left, area.centre().y}, label,
                    {ui.theme.ink, ui.fonts.body->FontSize, Weight::regular, Anchor::start, Anchor::middle});
        canvas.rectangle(bar, ui.theme.raised, ui.px(3));
        // 60 dB of the scale are shown.
        const auto db = [](double peak) { return peak > 0 ? 20 * std::log10(peak) : -200.0; };
        const auto x_of = [&](double level) {
            return bar.left + static_cast<float>(std::clamp(1 + level / 60, 0.0, 1.0)) * bar.width();
        };
        if (!(m.held > 0)) {
            canvas.text({area.right, area.centre().y}, "silent",
                        {ui.theme.soft_ink, 0, Weight::regular, Anchor::end, Anchor::middle});
            return;
        }
        const double held = db(m.held);
        const Color color = held > -0.1 ? ui.theme.rejected : held > -3 ? ui.theme.caution : ui.theme.good;
        if (m.peak > 0) canvas.rectangle({bar.left, bar.top, x_of(db(m.peak)), bar.bottom}, color, ui.px(3));
        canvas.line({x_of(held), bar.top - ui.px(3)}, {x_of(held), bar.bottom + ui.px(3)}, color, ui.px(2.5F));
        canvas.text({area.right, area.centre().y}, fmt::format("{:.1f} dBFS", held),
                    {ui.theme.ink, 0, Weight::regular, Anchor::end, Anchor::middle});
    };
    meter("Generator side", s.generator_meter, "meter.generator");
    meter("Coil side", s.coil_meter, "meter.coil");
}

void wiring_panel(const Ui& ui) {
    const State& s = ui.s;
    heading(ui, "Hookup");
    std::vector<std::string> names;
    std::vector<std::string> keys;
    int chosen = -1;
    for (const bench::HookupText& h : bench::all_hookups()) {
        if (!bench::seeks_resonance(h.hookup)) continue;
        if (h.hookup == s.bench.hookup) chosen = static_cast<int>(names.size());
        std::string name(h.name);
        name[0] = static_cast<char>(name[0] - 'a' + 'A');
        names.push_back(std::move(name));
        keys.emplace_back(h.name);
    }
    const int picked = choice(ui, "bench.hookup", "Measure at", names, chosen, !s.busy());
    if (picked >= 0) ui.ask(action(Do::set_hookup, keys[static_cast<std::size_t>(picked)]));
    soft(ui, bench::describe(s.bench.hookup).purpose);
    standing(ui);
    gap(ui, 6);
    heading(ui, "Interface");
    device_choice(ui);
    rate_and_channels(ui);
    gap(ui, 6);
    heading(ui, "Values");
    for (const FieldSpec& spec : bench_fields()) {
        const std::string key(spec.key);
        const auto text = s.bench.text.find(key);
        const auto wrong = s.bench_reading.complaints.find(key);
        quantity_field(ui, spec, key, text == s.bench.text.end() ? std::string() : text->second,
                       wrong == s.bench_reading.complaints.end() ? nullptr : &wrong->second, !s.busy());
    }
}

void wiring_notes_panel(const Ui& ui) {
    const float all = ImGui::GetContentRegionAvail().x, between = ui.px(28);
    const bool two = all > ui.px(640);
    // Read with a glance beside one another, or one after the other where it is narrow.
    const auto cautions = [&] {
        heading(ui, "Mind in this hookup");
        for (std::string_view c : bench::describe(ui.s.bench.hookup).cautions) bullet(ui, c);
        for (std::string_view c : standing_cautions(ui.s.bench.standing())) bullet(ui, c);
    };
    if (!two) {
        check(ui);
        gap(ui, 8);
        cautions();
        return;
    }
    ImGui::BeginGroup();
    ImGui::BeginChild("notes.check", {(all - between) / 2, 0});
    check(ui);
    ImGui::EndChild();
    ImGui::EndGroup();
    ImGui::SameLine(0, between);
    ImGui::BeginChild("notes.cautions", {0, 0});
    cautions();
    ImGui::EndChild();
}

void wiring_picture_panel(const Ui& ui, Rect area) {
    ImguiCanvas canvas = canvas_here(ui);
    canvas.rectangle(area, ui.theme.panel, ui.px(6));
    ui.mark("picture", area);
    canvas.clip(area);
    const Rect inside = area.inset(ui.px(22));
    // How the coil stands there, in words as well.
    const Standing stands = ui.s.bench.standing();
    const char* caption = stands == Standing::tank_closed ? "beside it the primary with its capacitor, gap bridged"
                          : stands == Standing::bare      ? "the top load is taken off for this one"
                          : stands == Standing::primary_shorted ? "beside it the primary, its ends clipped together"
                                                                : "";
    canvas.text({inside.left, area.bottom - ui.px(8)}, caption,
                {ui.theme.caution, 0, Weight::strong, Anchor::start, Anchor::end});
    draw_wiring(canvas, wiring_area(inside), ui.s.bench.hookup, wiring_names(ui.s.bench), ui.theme, ui.scale,
                wiring_stands(ui.s));
    canvas.unclip();
}

}  // namespace coldtune::gui
