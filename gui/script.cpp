#include "gui/script.hpp"

#include <fmt/format.h>

#include <fstream>
#include <nlohmann/json.hpp>

namespace coldtune::gui {
namespace {

using Json = nlohmann::ordered_json;

std::optional<ScriptStep> step_from(const Json& j) {
    if (!j.is_object()) return std::nullopt;
    ScriptStep step;
    step.seconds = j.value("seconds", 60.0);
    if (j.contains("do")) {
        const Command* c = command_named(j.value("do", ""));
        if (c == nullptr) return std::nullopt;
        step.action.what = c->what;
        step.action.key = j.value("key", "");
        step.action.text = j.value("text", "");
        step.action.has_number = j.contains("number");
        step.action.number = j.value("number", 0.0);
    } else if (j.contains("wait")) {
        const std::string what = j.value("wait", "");
        if (what != "idle" && what != "busy" && what != "readings") return std::nullopt;
        step.kind = what == "idle"   ? ScriptStep::Kind::wait_idle
                    : what == "busy" ? ScriptStep::Kind::wait_busy
                                     : ScriptStep::Kind::wait_readings;
        step.readings = j.value("number", std::size_t{1});
    } else if (j.contains("size")) {
        step.kind = ScriptStep::Kind::size;
        step.width = j["size"].at(0).get<int>();
        step.height = j["size"].at(1).get<int>();
    } else if (j.contains("picture")) {
        step.kind = ScriptStep::Kind::picture;
        step.file = j.value("picture", "");
    } else if (j.contains("state")) {
        step.kind = ScriptStep::Kind::state;
        step.file = j.value("state", "");
    } else {
        return std::nullopt;
    }
    return step;
}

Json run_json(const Run& run) {
    Json j;
    j["id"] = run.id;
    j["verdict"] = std::string(measure::verdict_name(run.result.verdict()));
    j["shown"] = run.shown;
    j["note"] = run.note;
    j["standards"] = run.standards;
    j["points"] = run.measured ? run.measured->frequency_hz.size() : 0;
    j["fitted"] = run.fitted != nullptr;
    j["resonance"] = nullptr;
    if (const auto* r = run.result.resonance()) {
        j["resonance"] = {{"way", std::string(measure::way_name(r->way))},
                          {"frequency_hz", r->frequency_hz},
                          {"frequency_u95_hz", r->frequency_u95_hz}};
        j["resonance"]["q"] = r->q ? Json(*r->q) : Json(nullptr);
    }
    const auto percent = run.result.difference_percent();
    j["difference_percent"] = percent ? Json(*percent) : Json(nullptr);
    j["findings"] = Json::array();
    for (const measure::Finding& f : run.result.findings) {
        j["findings"].push_back({{"code", std::string(measure::code_name(f.code))}, {"text", f.text}});
    }
    return j;
}

}  // namespace

Result<std::vector<ScriptStep>> read_script(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) return usage_error(fmt::format("{}: cannot be opened", path.string()));
    const Json root = Json::parse(file, nullptr, false);
    if (!root.is_array()) return usage_error(fmt::format("{}: not a JSON array of steps", path.string()));
    std::vector<ScriptStep> steps;
    for (const Json& j : root) {
        std::optional<ScriptStep> step;
        try {
            step = step_from(j);
        } catch (const Json::exception&) {
            step.reset();
        }
        if (!step) return usage_error(fmt::format("{}: step {} is not understood", path.string(), steps.size() + 1));
        steps.push_back(std::move(*step));
    }
    return steps;
}

std::string state_json(const State& s, const std::map<std::string, Rect>& places, int width, int height) {
    Json j;
    j["size"] = {width, height};
    j["step"] = static_cast<int>(s.step);
    j["text_scale"] = s.text_scale;
    j["dark"] = s.dark;
    j["busy"] = s.busy();
    j["complaint"] = s.complaint;
    j["notice"] = s.notice;
    j["calculated_hz"] = s.calculation.value ? Json(s.calculation.value->frequency_hz) : Json(nullptr);
    j["coil_complaints"] = s.reading.complaints.size();
    j["hookup"] = std::string(bench::describe(s.bench.hookup).name);
    j["device"] = s.bench.device;
    j["cautions_open"] = s.cautions_open;
    j["devices"] = Json::array();
    for (const auto& d : s.devices) j["devices"].push_back(d.name);
    j["standards"] = Json::array();
    for (const auto& [hookup, taken] : s.standards) {
        j["standards"].push_back(std::string(bench::describe(hookup).name));
    }
    j["following"] = nullptr;
    if (s.following) {
        const Following& f = *s.following;
        const auto* r = f.latest ? f.latest->resonance() : nullptr;
        j["following"] = {{"live", s.live()},
                          {"readings", f.readings},
                          {"update_s", f.update_s},
                          {"frequency_hz", r != nullptr ? Json(r->frequency_hz) : Json(nullptr)}};
    }
    j["selected_run"] = s.selected_run;
    j["runs"] = Json::array();
    for (const Run& run : s.runs) j["runs"].push_back(run_json(run));
    j["view"] = {{"low_hz", s.view.x.range.low}, {"high_hz", s.view.x.range.high}};
    for (const auto& [name, r] : places) j["places"][name] = {r.left, r.top, r.right, r.bottom};
    return j.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace coldtune::gui
