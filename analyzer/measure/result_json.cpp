#include "analyzer/measure/result_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"

#include "analyzer/measure/described_json.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;
using record::number_or_null;

Json resonance_json(const Resonance& r) {
    Json j;
    j["way"] = way_name(r.way);
    j["frequency_hz"] = number_or_null(r.frequency_hz);
    j["frequency_u95_hz"] = number_or_null(r.frequency_u95_hz);
    j["q"] = number_or_null(r.q);
    j["q_u95"] = number_or_null(r.q_u95);
    j["resistance_ohm"] = number_or_null(r.resistance_ohm);
    j["resistance_u95_ohm"] = number_or_null(r.resistance_u95_ohm);
    j["chi_square"] = number_or_null(r.chi_square);
    j["degrees_of_freedom"] = r.degrees_of_freedom;
    j["fit_window_hz"] = {number_or_null(r.fit_window.low_hz), number_or_null(r.fit_window.high_hz)};
    j["other_peaks_hz"] = r.other_peaks_hz;
    j["loaded_q"] = number_or_null(r.loaded_q);
    j["input_corner_hz"] = number_or_null(r.input_corner_hz);
    Json budget = Json::array();
    for (const BudgetLine& line : r.budget) {
        budget.push_back({{"source", line.source},
                          {"frequency_u_hz", number_or_null(line.frequency_u_hz)},
                          {"q_u", number_or_null(line.q_u)},
                          {"resistance_u_ohm", number_or_null(line.resistance_u_ohm)}});
    }
    j["budget"] = std::move(budget);
    Json checks = Json::array();
    for (const CrossCheck& c : r.cross_checks) checks.push_back({{"route", c.route}, {"q", number_or_null(c.q)}});
    j["cross_checks"] = std::move(checks);
    return j;
}

Json winding_json(const WindingValue& w) {
    Json points = Json::array();
    for (const ResistancePoint& p : w.resistance_curve) {
        points.push_back(
            {{"frequency_hz", number_or_null(p.frequency_hz)}, {"resistance_ohm", number_or_null(p.resistance_ohm)}});
    }
    Json budget = Json::array();
    for (const WindingBudgetLine& line : w.budget) {
        budget.push_back({{"source", line.source},
                          {"inductance_u_h", number_or_null(line.inductance_u_h)},
                          {"resistance_u_ohm", number_or_null(line.resistance_u_ohm)}});
    }
    Json j;
    j["inductance_h"] = number_or_null(w.inductance_h);
    j["inductance_u95_h"] = number_or_null(w.inductance_u95_h);
    j["resistance_ohm"] = number_or_null(w.resistance_ohm);
    j["resistance_u95_ohm"] = number_or_null(w.resistance_u95_ohm);
    j["resistance_at_hz"] = number_or_null(w.window.low_hz);
    j["own_capacitance_f"] = number_or_null(w.own_capacitance_f);
    j["own_capacitance_u95_f"] = number_or_null(w.own_capacitance_u95_f);
    j["window_hz"] = {number_or_null(w.window.low_hz), number_or_null(w.window.high_hz)};
    j["resistance_curve"] = std::move(points);
    j["budget"] = std::move(budget);
    return j;
}

Json tank_json(const TankValue& t) {
    return {{"inductance_h", number_or_null(t.inductance_h)},
            {"inductance_u95_h", number_or_null(t.inductance_u95_h)},
            {"capacitance_f", number_or_null(t.capacitance_f)},
            {"capacitance_u95_f", number_or_null(t.capacitance_u95_f)},
            {"resistance_ohm", number_or_null(t.resistance_ohm)}};
}

// The keys of the contract, of the secondary or of the tank.
Json calculated_json(const MeasurementResult& result) {
    if (result.hookup != bench::Hookup::tank) {
        return result.calculated ? to_json(*result.calculated) : Json(nullptr);
    }
    if (!result.calculated_tank) return nullptr;
    const model::TankCalculated& c = *result.calculated_tank;
    return {{"frequency_hz", number_or_null(c.frequency_hz)},
            {"frequency_u95_hz", number_or_null(c.frequency_u95_hz)},
            {"inductance_h", number_or_null(c.inductance_h)},
            {"inductance_u95_h", number_or_null(c.inductance_u95_h)},
            {"capacitance_f", number_or_null(c.capacitance_f)},
            {"capacitance_u95_f", number_or_null(c.capacitance_u95_f)},
            {"q", nullptr}};
}

Json coupling_json(const Coupling& c) {
    Json budget = Json::array();
    for (const CouplingBudgetLine& line : c.budget) {
        budget.push_back({{"source", line.source}, {"k_u", number_or_null(line.k_u)}});
    }
    Json j;
    j["k"] = number_or_null(c.k);
    j["k_u95"] = number_or_null(c.k_u95);
    j["shorted_inductance_h"] = number_or_null(c.shorted_inductance_h);
    j["primary_inductance_h"] = c.primary_inductance_h > 0 ? number_or_null(c.primary_inductance_h) : Json(nullptr);
    j["primary_described"] = c.primary_described;
    j["budget"] = std::move(budget);
    return j;
}

Json pair_json(const Pair& p) {
    const auto peak = [](const Pair::Peak& at) -> Json {
        return {{"frequency_hz", number_or_null(at.frequency_hz)},
                {"frequency_u95_hz", number_or_null(at.frequency_u95_hz)},
                {"conductance_s", number_or_null(at.conductance_s)}};
    };
    Json j;
    j["primary_frequency_hz"] = number_or_null(p.primary_frequency_hz);
    j["primary_frequency_u95_hz"] = number_or_null(p.primary_frequency_u95_hz);
    j["secondary_frequency_hz"] = number_or_null(p.secondary_frequency_hz);
    j["secondary_frequency_u95_hz"] = number_or_null(p.secondary_frequency_u95_hz);
    j["primary_q"] = number_or_null(p.primary_q);
    j["primary_q_u95"] = number_or_null(p.primary_q_u95);
    j["secondary_q"] = number_or_null(p.secondary_q);
    j["secondary_q_u95"] = number_or_null(p.secondary_q_u95);
    j["k"] = number_or_null(p.k);
    j["k_u95"] = number_or_null(p.k_u95);
    j["lower"] = peak(p.lower);
    j["upper"] = peak(p.upper);
    j["stronger"] = p.lower_is_stronger() ? "lower" : "upper";
    Json correlation = Json::array();
    for (const auto& row : p.correlation) {
        Json values = Json::array();
        for (const double value : row) values.push_back(number_or_null(value));
        correlation.push_back(std::move(values));
    }
    j["correlation_of"] = {"primary_frequency_hz", "secondary_frequency_hz", "primary_q", "secondary_q", "k"};
    j["correlation"] = std::move(correlation);
    Json budget = Json::array();
    for (const PairBudgetLine& line : p.budget) {
        budget.push_back({{"source", line.source},
                          {"primary_frequency_u_hz", number_or_null(line.primary_frequency_u_hz)},
                          {"secondary_frequency_u_hz", number_or_null(line.secondary_frequency_u_hz)},
                          {"primary_q_u", number_or_null(line.primary_q_u)},
                          {"secondary_q_u", number_or_null(line.secondary_q_u)},
                          {"k_u", number_or_null(line.k_u)}});
    }
    j["budget"] = std::move(budget);
    j["chi_square"] = number_or_null(p.chi_square);
    j["degrees_of_freedom"] = p.degrees_of_freedom;
    Json windows = Json::array();
    for (const dsp::Band& w : p.fit_windows) windows.push_back({number_or_null(w.low_hz), number_or_null(w.high_hz)});
    j["fit_windows_hz"] = std::move(windows);
    j["current_form"] = p.shape_described ? "described" : "usual";
    return j;
}

Json curve_json(const Curve& curve) {
    Json real = Json::array(), imaginary = Json::array();
    for (const auto& z : curve.impedance_ohm) {
        real.push_back(number_or_null(z.real()));
        imaginary.push_back(number_or_null(z.imag()));
    }
    Json deviation = Json::array();
    for (double s : curve.standard_deviation_ohm) deviation.push_back(number_or_null(s));
    return {{"frequency_hz", curve.frequency_hz},
            {"impedance_real_ohm", std::move(real)},
            {"impedance_imaginary_ohm", std::move(imaginary)},
            {"standard_deviation_ohm", std::move(deviation)}};
}

}  // namespace

Json to_json(const model::Calculated& c) {
    Json j;
    j["frequency_hz"] = number_or_null(c.frequency_hz);
    j["frequency_u95_hz"] = number_or_null(c.frequency_u95_hz);
    j["inductance_h"] = number_or_null(c.inductance_h);
    j["capacitance_f"] = number_or_null(c.capacitance_f);
    j["low_frequency_inductance_h"] = number_or_null(c.low_frequency_inductance_h);
    if (c.low_frequency_inductance_u95_h >= 0) {
        j["low_frequency_inductance_u95_h"] = number_or_null(c.low_frequency_inductance_u95_h);
    }
    j["q"] = number_or_null(c.q);
    j["resistance_ohm"] = number_or_null(c.resistance_ohm);
    j["dc_resistance_ohm"] = number_or_null(c.dc_resistance_ohm);
    j["wire_length_m"] = number_or_null(c.wire_length_m);
    return j;
}

Json to_json(const MeasurementResult& result, bool with_curve) {
    Json j;
    j["schema"] = "coldtune.result.v1";
    j["program_version"] = COLDTUNE_VERSION;
    j["hookup"] = bench::describe(result.hookup).name;
    j["verdict"] = verdict_name(result.verdict());
    Json findings = Json::array();
    for (const Finding& f : result.findings) {
        const char* weight = f.weight == Weight::reject ? "reject" : f.weight == Weight::caution ? "caution" : "note";
        findings.push_back({{"code", code_name(f.code)}, {"weight", weight}, {"text", f.text}});
    }
    j["findings"] = std::move(findings);
    j["sample_rate_hz"] = number_or_null(result.sample_rate_hz);
    j["averages"] = result.averages;
    j["clock_drift_ppm"] = number_or_null(result.clock_drift_ppm);
    j["usable_band_hz"] = result.usable_band_hz ? Json{number_or_null(result.usable_band_hz->low_hz),
                                                       number_or_null(result.usable_band_hz->high_hz)}
                                                : Json(nullptr);
    const Resonance* resonance = result.resonance();
    j["resonance"] = resonance != nullptr ? resonance_json(*resonance) : Json(nullptr);
    j["reason_for_way"] = resonance != nullptr ? Json(result.reason_for_way) : Json(nullptr);
    j["winding"] = nullptr;
    if (const auto* accepted = std::get_if<Accepted>(&result.outcome); accepted != nullptr && accepted->winding) {
        j["winding"] = winding_json(*accepted->winding);
    }
    j["coupling"] = nullptr;
    if (const auto* accepted = std::get_if<Accepted>(&result.outcome); accepted != nullptr && accepted->coupling) {
        j["coupling"] = coupling_json(*accepted->coupling);
    }
    j["pair"] = result.pair() != nullptr ? pair_json(*result.pair()) : Json(nullptr);
    j["tank"] = nullptr;
    if (const auto* accepted = std::get_if<Accepted>(&result.outcome); accepted != nullptr && accepted->tank) {
        j["tank"] = tank_json(*accepted->tank);
    }
    j["calculated"] = calculated_json(result);
    j["described"] = described_json(result.description);
    j["bench"] = bench_json(result.bench);
    j["difference_percent"] = number_or_null(result.difference_percent());
    if (with_curve) j["curve"] = curve_json(result.curve);
    return j;
}

}  // namespace coldtune::measure
