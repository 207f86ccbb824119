#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/record/plain_text.hpp"
#include "analyzer/share/response_csv.hpp"
#include "analyzer/share/text_lines.hpp"
#include "dsp/is_finite.hpp"

namespace coldtune::share {
namespace {

constexpr std::size_t kMostColumns = 200;

enum class Kind { frequency, real, imaginary, magnitude, phase, deviation };

struct Column {
    Kind kind = Kind::frequency;
    double factor = 1;        // to SI; degrees to radians
    bool admittance = false;  // of a part or a magnitude
};

struct UnitWord {
    std::string_view word;
    double factor;
    char measures;  // f frequency, z impedance, y admittance, a angle
};
// Looked up as written first, where m and M differ, then in lower case where no prefix m makes that ambiguous.
constexpr std::array<UnitWord, 22> kUnits = {{{"MHz", 1e6, 'f'},
                                              {"mohm", 1e-3, 'z'},
                                              {"Mohm", 1e6, 'z'},
                                              {"MOhm", 1e6, 'z'},
                                              {"mOhm", 1e-3, 'z'},
                                              {"mS", 1e-3, 'y'},
                                              {"hz", 1, 'f'},
                                              {"khz", 1e3, 'f'},
                                              {"mhz", 1e6, 'f'},
                                              {"ghz", 1e9, 'f'},
                                              {"ohm", 1, 'z'},
                                              {"ohms", 1, 'z'},
                                              {"kohm", 1e3, 'z'},
                                              {"s", 1, 'y'},
                                              {"ms", 1e-3, 'y'},
                                              {"us", 1e-6, 'y'},
                                              {"ns", 1e-9, 'y'},
                                              {"siemens", 1, 'y'},
                                              {"deg", std::numbers::pi / 180, 'a'},
                                              {"degree", std::numbers::pi / 180, 'a'},
                                              {"degrees", std::numbers::pi / 180, 'a'},
                                              {"rad", 1, 'a'}}};

const UnitWord* unit_of(std::string_view word) {
    for (const UnitWord& u : kUnits) {
        if (u.word == word) return &u;
    }
    const std::string low = lower_case(word);
    for (const UnitWord& u : kUnits) {
        // MOHM may be milli or mega: better not read than wrong by a thousand million.
        if (u.word == low && (low[0] != 'm' || low == "mhz")) return &u;
    }
    return nullptr;
}

// Letters and digits of a header, "Re(Z) (ohm)" as Re, Z, ohm; the signs for ohm, micro and degree as words.
std::vector<std::string> name_parts(std::string_view header) {
    std::vector<std::string> parts(1);
    for (char32_t c : record::decode_utf8(header)) {
        if (c == U'\u2126' || c == U'\u03a9') {
            parts.back() += "ohm";
        } else if (c == U'\u00b5' || c == U'\u03bc') {
            parts.back() += 'u';
        } else if (c == U'\u00b0') {
            parts.back() += "deg";
        } else if (c < 0x80 && ((c >= U'a' && c <= U'z') || (c >= U'A' && c <= U'Z') || (c >= U'0' && c <= U'9'))) {
            parts.back() += static_cast<char>(c);
        } else if (!parts.back().empty()) {
            parts.emplace_back();
        }
    }
    if (parts.back().empty()) parts.pop_back();
    return parts;
}

bool any_of(const std::vector<std::string>& parts, std::initializer_list<std::string_view> names) {
    return std::any_of(parts.begin(), parts.end(), [&](const std::string& part) {
        return std::find(names.begin(), names.end(), lower_case(part)) != names.end();
    });
}

// What the name means; the unit alone tells an impedance from an admittance.
std::optional<Kind> kind_of(const std::vector<std::string>& names, char measures) {
    if (any_of(names, {"deviation", "sd", "sigma", "uncertainty", "calculated"}))
        return any_of(names, {"standard"}) ? std::optional(Kind::deviation) : std::nullopt;
    if (measures == 'f') return Kind::frequency;
    if (measures == 'a') return Kind::phase;
    if (any_of(names, {"re", "real", "resistance", "r", "rs", "conductance", "g"})) return Kind::real;
    if (any_of(names, {"im", "imag", "imaginary", "reactance", "x", "xs", "susceptance", "b"})) return Kind::imaginary;
    if (any_of(names, {"z", "y", "impedance", "admittance", "magnitude", "mag", "abs"})) return Kind::magnitude;
    return std::nullopt;
}

class Table {
public:
    Table(std::string_view text, std::string_view origin) : lines_(text, origin) {}

    Result<measure::Curve> read() {
        while (const auto whole = lines_.next()) {
            std::string_view line = trimmed(*whole);
            // Some programs put a byte order mark in front.
            if (lines_.number() == 1 && line.starts_with("\xEF\xBB\xBF")) line.remove_prefix(3);
            if (line.empty() || line[0] == '#') continue;
            if (columns_.empty()) {
                if (auto wrong = header(line)) return *wrong;
            } else if (auto wrong = row(line)) {
                return *wrong;
            }
        }
        if (columns_.empty())
            return lines_.error("no header; the first line names the columns: frequency_hz,re_ohm,im_ohm");
        if (curve_.frequency_hz.empty()) return lines_.error("no rows below the header");
        if (!any_deviation_) curve_.standard_deviation_ohm.clear();
        return std::move(curve_);
    }

private:
    // Quotes as RFC 4180 has them, within one line.
    std::optional<Error> split(std::string_view line) {
        cells_.assign(1, {});
        bool quoted = false;
        for (std::size_t k = 0; k < line.size(); ++k) {
            const char c = line[k];
            if (c == '"') {
                if (quoted && k + 1 < line.size() && line[k + 1] == '"') {
                    cells_.back() += line[++k];
                } else {
                    quoted = !quoted;
                }
            } else if (c == separator_ && !quoted) {
                if (cells_.size() >= kMostColumns)
                    return lines_.error(fmt::format("more than {} columns", kMostColumns));
                cells_.emplace_back();
            } else {
                cells_.back() += c;
            }
        }
        if (quoted) return lines_.error("a quotation mark is not closed");
        return std::nullopt;
    }

    std::optional<Error> header(std::string_view line) {
        separator_ = line.find('\t') != std::string_view::npos  ? '\t'
                     : line.find(';') != std::string_view::npos ? ';'
                                                                : ',';
        if (auto wrong = split(line)) return wrong;
        if (number(cells_[0])) {
            return lines_.error("a number where the header should be; name the columns: frequency_hz,re_ohm,im_ohm");
        }
        std::array<int, 6> seen{};
        for (const std::string& cell : cells_) {
            columns_.emplace_back();
            std::vector<std::string> parts = name_parts(cell);
            if (parts.empty()) continue;
            const UnitWord* unit = unit_of(parts.back());
            if (unit == nullptr) {
                if (any_of(parts, {"f", "freq", "frequency", "re", "im", "real", "imag", "imaginary"})) {
                    return lines_.error(fmt::format("column {} has no unit; write it as frequency_hz or re_ohm",
                                                    record::in_quotes(trimmed(cell))));
                }
                continue;
            }
            parts.pop_back();
            const auto kind = kind_of(parts, unit->measures);
            // Of two that say the same the first counts: 'impedance_ohm' beside 'resistance_ohm' is no second part.
            if (!kind || seen[static_cast<std::size_t>(*kind)]++ > 0) continue;
            columns_.back() = Column{*kind, unit->factor, unit->measures == 'y'};
        }
        return complete();
    }

    // Which of the columns make the impedance.
    std::optional<Error> complete() {
        const Column* real = find(Kind::real);
        const Column* imaginary = find(Kind::imaginary);
        const Column* magnitude = find(Kind::magnitude);
        if (find(Kind::frequency) == nullptr) return lines_.error("no column of frequencies, such as frequency_hz");
        cartesian_ = real != nullptr && imaginary != nullptr && real->admittance == imaginary->admittance;
        if (!cartesian_ && (magnitude == nullptr || find(Kind::phase) == nullptr)) {
            return lines_.error(
                "no impedance or admittance; give re_ohm and im_ohm, re_s and im_s, or z_ohm and phase_deg");
        }
        admittance_ = cartesian_ ? real->admittance : magnitude->admittance;
        return std::nullopt;
    }

    [[nodiscard]] const Column* find(Kind kind) const {
        for (const auto& c : columns_) {
            if (c && c->kind == kind) return &*c;
        }
        return nullptr;
    }

    [[nodiscard]] std::optional<double> number(std::string_view cell) const {
        cell = trimmed(cell);
        if (separator_ == ',' || cell.find(',') == std::string_view::npos) return number_in(cell);
        std::string dotted(cell);
        std::replace(dotted.begin(), dotted.end(), ',', '.');
        return number_in(dotted);
    }

    std::optional<Error> row(std::string_view line) {
        if (auto wrong = split(line)) return wrong;
        if (cells_.size() != columns_.size()) {
            return lines_.error(fmt::format("{} cells, but the header has {}", cells_.size(), columns_.size()));
        }
        std::array<std::optional<double>, 6> value;
        for (std::size_t k = 0; k < columns_.size(); ++k) {
            if (!columns_[k]) continue;
            const auto index = static_cast<std::size_t>(columns_[k]->kind);
            const bool needed = columns_[k]->kind == Kind::frequency ||
                                (cartesian_ ? columns_[k]->kind == Kind::real || columns_[k]->kind == Kind::imaginary
                                            : columns_[k]->kind == Kind::magnitude || columns_[k]->kind == Kind::phase);
            if (!needed && trimmed(cells_[k]).empty()) continue;
            const auto read = number(cells_[k]);
            if (!read && needed) {
                return lines_.error(fmt::format("{} is not a number", record::in_quotes(trimmed(cells_[k]))));
            }
            if (read) value[index] = *read * columns_[k]->factor;
        }
        const auto at = [&](Kind kind) { return *value[static_cast<std::size_t>(kind)]; };
        const double frequency_hz = at(Kind::frequency);
        // A number in MHz may be more than hertz can hold.
        if (!std::isfinite(frequency_hz)) return lines_.error("a frequency too large to be one");
        if (!(frequency_hz > (curve_.frequency_hz.empty() ? 0 : curve_.frequency_hz.back()))) {
            return lines_.error("frequencies must be greater than 0 and rise from row to row");
        }
        if (curve_.frequency_hz.size() >= kMostPoints)
            return lines_.error(fmt::format("more than {} rows", kMostPoints));
        std::complex<double> z = cartesian_ ? std::complex(at(Kind::real), at(Kind::imaginary))
                                            : at(Kind::magnitude) * std::polar(1.0, at(Kind::phase));
        if (admittance_) z = 1.0 / z;
        if (!dsp::is_finite(z)) return lines_.error("an admittance of 0");
        const auto deviation = value[static_cast<std::size_t>(Kind::deviation)];
        const bool known = deviation && *deviation >= 0;
        any_deviation_ = any_deviation_ || known;
        curve_.frequency_hz.push_back(frequency_hz);
        curve_.impedance_ohm.push_back(z);
        curve_.standard_deviation_ohm.push_back(known ? *deviation : std::nan(""));
        return std::nullopt;
    }

    TextLines lines_;
    char separator_ = ',';
    std::vector<std::string> cells_;
    std::vector<std::optional<Column>> columns_;
    bool cartesian_ = false, admittance_ = false, any_deviation_ = false;
    measure::Curve curve_;
};

}  // namespace

Result<measure::Curve> parse_csv(std::string_view text, std::string_view origin) {
    return Table(text, origin).read();
}

}  // namespace coldtune::share
