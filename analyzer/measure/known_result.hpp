// A result that was written down before, as evidence: what `analyze --json` and `loading --json` printed, read back.
#pragma once

#include <cstddef>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/described_json.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

// Of a result file, bytes: with a curve of a million points.
inline constexpr std::size_t kLongestResult = std::size_t{256} << 20;

// A value, its 95 % half-width and what that is made of: relative standard uncertainties.
struct KnownValue {
    struct Part {
        std::string source;
        double relative_u = 0;
    };
    double value = 0, u95 = 0;
    std::vector<Part> parts;  // squares add up to (u95 / 2 / value)^2; what no budget explains is "other"
};

struct KnownResult {
    std::string name;  // how messages call it, e.g. the path
    bench::Hookup hookup = bench::Hookup::foot;
    std::string way;                       // of the resonance, as written: "in-band", ...
    std::optional<KnownValue> resonance;   // hertz; of the coil with its head free (hookups foot and pickup)
    std::optional<KnownValue> inductance;  // henry, at low frequency
    std::optional<double> calculated_hz;
    // Only from read_any_result: hertz, of the tank.
    std::optional<KnownValue> tank_resonance = {};
    std::optional<Described> described = {};  // unknown in results of earlier versions
    BenchFacts bench = {};
    // What was said about the measurement besides its number; codes and weights as written.
    struct Remark {
        std::string code, weight, text;
    };
    std::vector<Remark> findings = {};
};

// Errors: (bad_input) not JSON, another schema, no verdict, a key missing, not a number or one that tells nothing (a
// half-width wider than its value), nothing of the secondary in it;
// (rejected) the measurement was rejected, so that there is nothing to take from it. Unknown keys are passed over: a
// later version may say more.
Result<KnownResult> parse_result(std::string_view json_text, std::string_view origin);
// Whether a result counts: its verdict is there and not `rejected`. Errors as above.
Status require_accepted(const nlohmann::ordered_json& json, std::string_view origin);
Result<KnownResult> read_result(const std::filesystem::path& path);

// The same, but a tank and the output of combine --json (way "combined") are welcome too.
Result<KnownResult> parse_any_result(std::string_view json_text, std::string_view origin);
Result<KnownResult> read_any_result(const std::filesystem::path& path);

}  // namespace coldtune::measure
