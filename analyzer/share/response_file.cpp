#include "analyzer/share/response_file.hpp"

#include <fmt/format.h>

#include "analyzer/measure/kept_result.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/share/response_csv.hpp"
#include "analyzer/share/text_lines.hpp"
#include "analyzer/share/touchstone.hpp"

namespace coldtune::share {

bool is_plain_response(const std::filesystem::path& path) {
    const std::string ending = lower_case(path.extension().string());
    return ending == ".s1p" || ending == ".ts" || ending == ".csv";
}

Result<measure::Curve> read_response(const std::filesystem::path& path) {
    const std::string ending = lower_case(path.extension().string());
    if (ending == ".json") {
        auto result = measure::read_kept_result(path);
        if (!result) return result.error();
        if (result->curve.frequency_hz.empty()) {
            return bad_input(fmt::format("{}: there is no curve in it; analyze with --json --curve keeps one",
                                         record::one_line(path.string(), 200)));
        }
        return std::move(result->curve);
    }
    if (!is_plain_response(path)) {
        return bad_input(
            fmt::format("{}: a response ends in .s1p, .ts, .csv or .json", record::one_line(path.string(), 200)));
    }
    const auto text = record::read_text(path, kLongestResponseFile);
    if (!text) return text.error();
    return ending == ".csv" ? parse_csv(*text, path.string()) : parse_touchstone(*text, path.string());
}

}  // namespace coldtune::share
