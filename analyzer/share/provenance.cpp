#include "analyzer/share/provenance.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cstdlib>
#include <cstring>

#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::share {

using record::format_with_uncertainty;
using record::Unit;

std::string utc_text(long long seconds) {
    return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(static_cast<std::time_t>(seconds)));
}

Provenance provenance_of(std::string source) {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    long long seconds = std::chrono::duration_cast<std::chrono::seconds>(now).count();
    if (const char* fixed = std::getenv("SOURCE_DATE_EPOCH"); fixed != nullptr) {
        long long given = 0;
        const char* end = fixed + std::strlen(fixed);
        constexpr long long kYear9999 = 253402300799;
        if (std::from_chars(fixed, end, given).ptr == end && given >= 0 && given <= kYear9999) seconds = given;
    }
    return {std::string("coldtune ") + COLDTUNE_VERSION, utc_text(seconds), std::move(source)};
}

std::string ascii_line(std::string_view text) {
    std::string line = record::one_line(text, 400);
    std::string out;
    for (char c : line) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte >= 0x20 && byte < 0x7F) {
            out += c;
        } else if ((byte & 0xC0U) != 0x80) {
            out += '?';
        }
    }
    return out;
}

bool curve_is_sound(const measure::MeasurementResult& result) {
    return std::none_of(result.findings.begin(), result.findings.end(), [](const measure::Finding& f) {
        if (f.weight != measure::Weight::reject) return false;
        switch (f.code) {
            case measure::FindingCode::outside_band:
            case measure::FindingCode::no_resonance:
            case measure::FindingCode::several_peaks:
                return false;
            default:
                return true;
        }
    });
}

std::vector<std::string> comment_lines(const measure::MeasurementResult& result, const Provenance& provenance) {
    std::vector<std::string> lines;
    lines.push_back(fmt::format("Written by {} at {}", provenance.program, provenance.written));
    lines.push_back(fmt::format("From {}", provenance.source));
    lines.push_back(
        fmt::format("Hookup {}: {}", bench::describe(result.hookup).name, bench::describe(result.hookup).purpose));
    lines.push_back(fmt::format("Verdict {}", measure::verdict_name(result.verdict())));
    for (const measure::Finding& f : result.findings) {
        if (f.weight != measure::Weight::note)
            lines.push_back(fmt::format("  {}: {}", measure::code_name(f.code), f.text));
    }
    if (const measure::Resonance* r = result.resonance()) {
        lines.push_back(fmt::format("Resonance {}, 95 %, {}",
                                    format_with_uncertainty(r->frequency_hz, r->frequency_u95_hz, Unit::hertz),
                                    measure::way_name(r->way)));
        if (r->q && r->q_u95)
            lines.push_back(fmt::format("Q {}", format_with_uncertainty(*r->q, *r->q_u95, Unit::none)));
        if (r->resistance_ohm && r->resistance_u95_ohm) {
            lines.push_back(
                fmt::format("Resistance at resonance {}",
                            format_with_uncertainty(*r->resistance_ohm, *r->resistance_u95_ohm, Unit::ohm)));
        }
    }
    for (std::string& line : lines) line = ascii_line(line);
    return lines;
}

}  // namespace coldtune::share
