#include "analyzer/measure/loading_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"

#include "analyzer/measure/result_json.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;
using record::number_or_null;

Json estimate_json(const std::optional<SeriesEstimate>& e) {
    if (!e) return nullptr;
    Json j;
    j["inductance_h"] = number_or_null(e->inductance_h);
    j["inductance_u95_h"] = number_or_null(e->inductance_u95_h);
    j["capacitance_f"] = number_or_null(e->capacitance_f);
    j["capacitance_u95_f"] = number_or_null(e->capacitance_u95_f);
    j["frequency_hz"] = number_or_null(e->frequency_hz);
    j["frequency_u95_hz"] = number_or_null(e->frequency_u95_hz);
    j["chi_square"] = number_or_null(e->chi_square);
    j["degrees_of_freedom"] = e->degrees_of_freedom;
    Json budget = Json::array();
    for (const SeriesLine& line : e->budget) {
        budget.push_back({{"source", line.source},
                          {"frequency_u_hz", number_or_null(line.frequency_u_hz)},
                          {"inductance_u_h", number_or_null(line.inductance_u_h)},
                          {"capacitance_u_f", number_or_null(line.capacitance_u_f)}});
    }
    j["budget"] = std::move(budget);
    return j;
}

}  // namespace

Json to_json(const LoadingResult& loading) {
    Json j = to_json(loading.result, false);
    const std::optional<SeriesEstimate>& value = loading.model ? loading.model : loading.straight_line;
    if (value) {
        j["winding"] = {{"inductance_h", number_or_null(value->inductance_h)},
                        {"inductance_u95_h", number_or_null(value->inductance_u95_h)},
                        {"resistance_ohm", nullptr},
                        {"resistance_u95_ohm", nullptr}};
    }
    Json points = Json::array();
    for (std::size_t i = 0; i < loading.points.size(); ++i) {
        const LoadingPointResult& p = loading.points[i];
        Json point;
        point["capacitance_f"] = number_or_null(p.capacitance_f);
        point["tolerance_f"] = number_or_null(p.limit_f);
        point["file"] = p.file;
        point["frequency_hz"] = p.resonance ? number_or_null(p.resonance->frequency_hz) : Json(nullptr);
        point["frequency_u95_hz"] = p.resonance ? number_or_null(p.resonance->frequency_u95_hz) : Json(nullptr);
        point["q"] = p.resonance ? number_or_null(p.resonance->q) : Json(nullptr);
        point["residual_hz"] = value ? number_or_null(value->residual_hz[i]) : Json(nullptr);
        points.push_back(std::move(point));
    }
    j["loading"] = {{"points", std::move(points)},
                    {"straight_line", estimate_json(loading.straight_line)},
                    {"model", estimate_json(loading.model)}};
    return j;
}

}  // namespace coldtune::measure
