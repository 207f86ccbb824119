#include "analyzer/measure/loading_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/result_json.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}
Json number(const std::optional<double>& value) {
    return value ? number(*value) : Json(nullptr);
}

Json estimate_json(const std::optional<SeriesEstimate>& e) {
    if (!e) return nullptr;
    Json j;
    j["inductance_h"] = number(e->inductance_h);
    j["inductance_u95_h"] = number(e->inductance_u95_h);
    j["capacitance_f"] = number(e->capacitance_f);
    j["capacitance_u95_f"] = number(e->capacitance_u95_f);
    j["frequency_hz"] = number(e->frequency_hz);
    j["frequency_u95_hz"] = number(e->frequency_u95_hz);
    j["chi_square"] = number(e->chi_square);
    j["degrees_of_freedom"] = e->degrees_of_freedom;
    Json budget = Json::array();
    for (const SeriesLine& line : e->budget) {
        budget.push_back({{"source", line.source},
                          {"frequency_u_hz", number(line.frequency_u_hz)},
                          {"inductance_u_h", number(line.inductance_u_h)},
                          {"capacitance_u_f", number(line.capacitance_u_f)}});
    }
    j["budget"] = std::move(budget);
    return j;
}

}  // namespace

Json to_json(const LoadingResult& loading) {
    Json j = to_json(loading.result, false);
    const std::optional<SeriesEstimate>& value = loading.model ? loading.model : loading.straight_line;
    if (value) {
        j["winding"] = {{"inductance_h", number(value->inductance_h)},
                        {"inductance_u95_h", number(value->inductance_u95_h)},
                        {"resistance_ohm", nullptr},
                        {"resistance_u95_ohm", nullptr}};
    }
    Json points = Json::array();
    for (std::size_t i = 0; i < loading.points.size(); ++i) {
        const LoadingPointResult& p = loading.points[i];
        Json point;
        point["capacitance_f"] = number(p.capacitance_f);
        point["tolerance_f"] = number(p.limit_f);
        point["file"] = p.file;
        point["frequency_hz"] = p.resonance ? number(p.resonance->frequency_hz) : Json(nullptr);
        point["frequency_u95_hz"] = p.resonance ? number(p.resonance->frequency_u95_hz) : Json(nullptr);
        point["q"] = p.resonance ? number(p.resonance->q) : Json(nullptr);
        point["residual_hz"] = value ? number(value->residual_hz[i]) : Json(nullptr);
        points.push_back(std::move(point));
    }
    j["loading"] = {{"points", std::move(points)},
                    {"straight_line", estimate_json(loading.straight_line)},
                    {"model", estimate_json(loading.model)}};
    return j;
}

}  // namespace coldtune::measure
