#include "analyzer/measure/result_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/described_json.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}
Json number(const std::optional<double>& value) {
    return value ? number(*value) : Json(nullptr);
}

Json resonance_json(const Resonance& r) {
    Json j;
    j["way"] = way_name(r.way);
    j["frequency_hz"] = number(r.frequency_hz);
    j["frequency_u95_hz"] = number(r.frequency_u95_hz);
    j["q"] = number(r.q);
    j["q_u95"] = number(r.q_u95);
    j["resistance_ohm"] = number(r.resistance_ohm);
    j["resistance_u95_ohm"] = number(r.resistance_u95_ohm);
    j["chi_square"] = number(r.chi_square);
    j["degrees_of_freedom"] = r.degrees_of_freedom;
    j["fit_window_hz"] = {number(r.fit_window.low_hz), number(r.fit_window.high_hz)};
    j["other_peaks_hz"] = r.other_peaks_hz;
    j["loaded_q"] = number(r.loaded_q);
    j["input_corner_hz"] = number(r.input_corner_hz);
    Json budget = Json::array();
    for (const BudgetLine& line : r.budget) {
        budget.push_back({{"source", line.source},
                          {"frequency_u_hz", number(line.frequency_u_hz)},
                          {"q_u", number(line.q_u)},
                          {"resistance_u_ohm", number(line.resistance_u_ohm)}});
    }
    j["budget"] = std::move(budget);
    Json checks = Json::array();
    for (const CrossCheck& c : r.cross_checks) checks.push_back({{"route", c.route}, {"q", number(c.q)}});
    j["cross_checks"] = std::move(checks);
    return j;
}

Json winding_json(const WindingValue& w) {
    Json points = Json::array();
    for (const ResistancePoint& p : w.resistance_curve) {
        points.push_back({{"frequency_hz", number(p.frequency_hz)}, {"resistance_ohm", number(p.resistance_ohm)}});
    }
    Json budget = Json::array();
    for (const WindingBudgetLine& line : w.budget) {
        budget.push_back({{"source", line.source},
                          {"inductance_u_h", number(line.inductance_u_h)},
                          {"resistance_u_ohm", number(line.resistance_u_ohm)}});
    }
    Json j;
    j["inductance_h"] = number(w.inductance_h);
    j["inductance_u95_h"] = number(w.inductance_u95_h);
    j["resistance_ohm"] = number(w.resistance_ohm);
    j["resistance_u95_ohm"] = number(w.resistance_u95_ohm);
    j["resistance_at_hz"] = number(w.window.low_hz);
    j["own_capacitance_f"] = number(w.own_capacitance_f);
    j["own_capacitance_u95_f"] = number(w.own_capacitance_u95_f);
    j["window_hz"] = {number(w.window.low_hz), number(w.window.high_hz)};
    j["resistance_curve"] = std::move(points);
    j["budget"] = std::move(budget);
    return j;
}

Json tank_json(const TankValue& t) {
    return {{"inductance_h", number(t.inductance_h)},
            {"inductance_u95_h", number(t.inductance_u95_h)},
            {"capacitance_f", number(t.capacitance_f)},
            {"capacitance_u95_f", number(t.capacitance_u95_f)},
            {"resistance_ohm", number(t.resistance_ohm)}};
}

// The keys of the contract, of the secondary or of the tank.
Json calculated_json(const MeasurementResult& result) {
    if (result.hookup != bench::Hookup::tank) {
        return result.calculated ? to_json(*result.calculated) : Json(nullptr);
    }
    if (!result.calculated_tank) return nullptr;
    const model::TankCalculated& c = *result.calculated_tank;
    return {{"frequency_hz", number(c.frequency_hz)},
            {"frequency_u95_hz", number(c.frequency_u95_hz)},
            {"inductance_h", number(c.inductance_h)},
            {"inductance_u95_h", number(c.inductance_u95_h)},
            {"capacitance_f", number(c.capacitance_f)},
            {"capacitance_u95_f", number(c.capacitance_u95_f)},
            {"q", nullptr}};
}

Json pair_json(const Pair& p) {
    const auto peak = [](const Pair::Peak& at) -> Json {
        return {{"frequency_hz", number(at.frequency_hz)},
                {"frequency_u95_hz", number(at.frequency_u95_hz)},
                {"conductance_s", number(at.conductance_s)}};
    };
    Json j;
    j["primary_frequency_hz"] = number(p.primary_frequency_hz);
    j["primary_frequency_u95_hz"] = number(p.primary_frequency_u95_hz);
    j["secondary_frequency_hz"] = number(p.secondary_frequency_hz);
    j["secondary_frequency_u95_hz"] = number(p.secondary_frequency_u95_hz);
    j["primary_q"] = number(p.primary_q);
    j["primary_q_u95"] = number(p.primary_q_u95);
    j["secondary_q"] = number(p.secondary_q);
    j["secondary_q_u95"] = number(p.secondary_q_u95);
    j["k"] = number(p.k);
    j["k_u95"] = number(p.k_u95);
    j["lower"] = peak(p.lower);
    j["upper"] = peak(p.upper);
    j["stronger"] = p.lower_is_stronger() ? "lower" : "upper";
    Json correlation = Json::array();
    for (const auto& row : p.correlation) {
        Json values = Json::array();
        for (const double value : row) values.push_back(number(value));
        correlation.push_back(std::move(values));
    }
    j["correlation_of"] = {"primary_frequency_hz", "secondary_frequency_hz", "primary_q", "secondary_q", "k"};
    j["correlation"] = std::move(correlation);
    Json budget = Json::array();
    for (const PairBudgetLine& line : p.budget) {
        budget.push_back({{"source", line.source},
                          {"primary_frequency_u_hz", number(line.primary_frequency_u_hz)},
                          {"secondary_frequency_u_hz", number(line.secondary_frequency_u_hz)},
                          {"primary_q_u", number(line.primary_q_u)},
                          {"secondary_q_u", number(line.secondary_q_u)},
                          {"k_u", number(line.k_u)}});
    }
    j["budget"] = std::move(budget);
    j["chi_square"] = number(p.chi_square);
    j["degrees_of_freedom"] = p.degrees_of_freedom;
    Json windows = Json::array();
    for (const dsp::Band& w : p.fit_windows) windows.push_back({number(w.low_hz), number(w.high_hz)});
    j["fit_windows_hz"] = std::move(windows);
    j["current_form"] = p.shape_described ? "described" : "usual";
    return j;
}

Json curve_json(const Curve& curve) {
    Json real = Json::array(), imaginary = Json::array();
    for (const auto& z : curve.impedance_ohm) {
        real.push_back(number(z.real()));
        imaginary.push_back(number(z.imag()));
    }
    Json deviation = Json::array();
    for (double s : curve.standard_deviation_ohm) deviation.push_back(number(s));
    return {{"frequency_hz", curve.frequency_hz},
            {"impedance_real_ohm", std::move(real)},
            {"impedance_imaginary_ohm", std::move(imaginary)},
            {"standard_deviation_ohm", std::move(deviation)}};
}

}  // namespace

Json to_json(const model::Calculated& c) {
    Json j;
    j["frequency_hz"] = number(c.frequency_hz);
    j["frequency_u95_hz"] = number(c.frequency_u95_hz);
    j["inductance_h"] = number(c.inductance_h);
    j["capacitance_f"] = number(c.capacitance_f);
    j["low_frequency_inductance_h"] = number(c.low_frequency_inductance_h);
    j["q"] = number(c.q);
    j["resistance_ohm"] = number(c.resistance_ohm);
    j["dc_resistance_ohm"] = number(c.dc_resistance_ohm);
    j["wire_length_m"] = number(c.wire_length_m);
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
    j["sample_rate_hz"] = number(result.sample_rate_hz);
    j["averages"] = result.averages;
    j["clock_drift_ppm"] = number(result.clock_drift_ppm);
    j["usable_band_hz"] = result.usable_band_hz
                              ? Json{number(result.usable_band_hz->low_hz), number(result.usable_band_hz->high_hz)}
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
        const Coupling& c = *accepted->coupling;
        j["coupling"] = {
            {"k", number(c.k)}, {"k_u95", number(c.k_u95)}, {"shorted_inductance_h", number(c.shorted_inductance_h)}};
    }
    j["pair"] = result.pair() != nullptr ? pair_json(*result.pair()) : Json(nullptr);
    j["tank"] = nullptr;
    if (const auto* accepted = std::get_if<Accepted>(&result.outcome); accepted != nullptr && accepted->tank) {
        j["tank"] = tank_json(*accepted->tank);
    }
    j["calculated"] = calculated_json(result);
    j["described"] = described_json(result.description);
    j["bench"] = bench_json(result.bench);
    j["difference_percent"] = number(result.difference_percent());
    if (with_curve) j["curve"] = curve_json(result.curve);
    return j;
}

}  // namespace coldtune::measure
