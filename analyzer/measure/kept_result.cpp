#include "analyzer/measure/kept_result.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "analyzer/measure/described_json.hpp"
#include "analyzer/measure/kept_values.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::measure {
namespace {

using record::Json;

constexpr std::size_t kLongestFile = std::size_t{256} << 20;

std::vector<Finding> findings_of(KeptReader& reader, const Json& json) {
    std::vector<Finding> findings;
    const Json* list = reader.array(json, "findings");
    if (list == nullptr) return findings;
    for (const Json& f : *list) {
        const std::string path = fmt::format("findings[{}].", findings.size());
        if (!f.is_object()) {
            reader.fail(path, "must be an object");
            return {};
        }
        const std::string code = reader.text(f, path, "code"), weight = reader.text(f, path, "weight");
        const auto codes = all_finding_codes();
        const auto known =
            std::find_if(codes.begin(), codes.end(), [&](FindingCode c) { return code_name(c) == code; });
        if (known == codes.end()) {
            reader.fail(path + "code", fmt::format("{} is no finding", record::in_quotes(code)));
            return {};
        }
        if (weight != "note" && weight != "caution" && weight != "reject") {
            reader.fail(path + "weight", "must be note, caution or reject");
            return {};
        }
        findings.push_back({*known,
                            weight == "note"      ? Weight::note
                            : weight == "caution" ? Weight::caution
                                                  : Weight::reject,
                            reader.text(f, path, "text")});
    }
    return findings;
}

}  // namespace

Result<MeasurementResult> result_from_json(const nlohmann::ordered_json& json, std::string_view origin) {
    KeptReader reader(origin);
    if (!json.is_object() || KeptReader::find(json, "schema") == nullptr || json["schema"] != "coldtune.result.v1") {
        reader.fail("", "not a result (schema coldtune.result.v1)");
        return *reader.error();
    }
    MeasurementResult result;
    const std::string hookup = reader.text(json, "", "hookup"), verdict = reader.text(json, "", "verdict");
    if (const auto named = bench::hookup_from_name(hookup)) {
        result.hookup = *named;
    } else {
        reader.fail("hookup", fmt::format("{} is no hookup", record::in_quotes(hookup)));
    }
    result.findings = findings_of(reader, json);
    if (!reader.error() && verdict != verdict_name(result.verdict())) {
        reader.fail("verdict", fmt::format("{} is not what the findings give ({})", record::in_quotes(verdict),
                                           verdict_name(result.verdict())));
    }
    const Json* resonance = reader.object(json, "resonance");
    const Json* winding = reader.object(json, "winding");
    const Json* coupling = reader.object(json, "coupling");
    const Json* tank = reader.object(json, "tank");
    const Json* pair = reader.object(json, "pair");
    if (result.verdict() == Verdict::rejected) {
        result.outcome = Rejected{};
        const auto parts = {resonance, winding, coupling, tank, pair};
        if (std::any_of(parts.begin(), parts.end(), [](const Json* part) { return part != nullptr; })) {
            reader.fail("verdict", "is rejected, yet there is a value in it");
        }
    } else {
        Accepted accepted;
        if (resonance != nullptr) accepted.resonance = resonance_of(reader, *resonance);
        if (winding != nullptr) accepted.winding = winding_of(reader, *winding);
        if (coupling != nullptr) accepted.coupling = coupling_of(reader, *coupling);
        if (tank != nullptr) accepted.tank = tank_of(reader, *tank);
        if (pair != nullptr) accepted.pair = pair_of(reader, *pair);
        result.outcome = std::move(accepted);
    }
    result.sample_rate_hz = reader.optional_number(json, "", "sample_rate_hz").value_or(0);
    result.averages = reader.count(json, "averages");
    result.clock_drift_ppm = reader.optional_number(json, "", "clock_drift_ppm");
    if (KeptReader::find(json, "usable_band_hz") != nullptr)
        result.usable_band_hz = reader.band(json, "", "usable_band_hz");
    result.reason_for_way = reader.text(json, "", "reason_for_way");
    if (const Json* calculated = reader.object(json, "calculated")) {
        if (result.hookup == bench::Hookup::tank) {
            result.calculated_tank = calculated_tank_of(reader, *calculated);
        } else {
            result.calculated = calculated_of(reader, *calculated);
        }
    }
    if (const Json* bench = reader.object(json, "bench")) result.bench = bench_of(*bench);
    if (const Json* curve = reader.object(json, "curve")) result.curve = curve_of(reader, *curve);
    if (reader.error()) return *reader.error();
    return result;
}

Result<MeasurementResult> read_kept_result(const std::filesystem::path& path) {
    record::JsonLimits limits;
    limits.bytes = kLongestFile;
    const auto json = record::read_json(path, limits);
    if (!json) return json.error();
    return result_from_json(*json, path.string());
}

}  // namespace coldtune::measure
