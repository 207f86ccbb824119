#include <fmt/format.h>

#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/record/plain_text.hpp"
#include "analyzer/share/text_lines.hpp"
#include "analyzer/share/touchstone.hpp"
#include "dsp/is_finite.hpp"

namespace coldtune::share {
namespace {

using Complex = std::complex<double>;

enum class Form { magnitude_angle, decibel_angle, real_imaginary };

// What the option line says; defaults of the specification.
struct Options {
    double hertz = 1e9;
    char parameter = 's';
    Form form = Form::magnitude_angle;
    double reference_ohm = 50;
};

class Touchstone {
public:
    Touchstone(std::string_view text, std::string_view origin) : lines_(text, origin) {}

    Result<measure::Curve> read() {
        while (const auto whole = lines_.next()) {
            const std::string_view line = trimmed(whole->substr(0, whole->find('!')));
            if (line.empty()) continue;
            if (informing_) {
                informing_ = lower_case(line) != "[end information]";
                continue;
            }
            if (ended_) return lines_.error("something stands after [End]");
            std::optional<Error> wrong;
            if (line[0] == '[') {
                wrong = keyword(line);
            } else if (line[0] == '#') {
                wrong = option_line(line.substr(1));
            } else if (awaits_reference_) {
                wrong = reference(line);
            } else {
                wrong = point(line);
            }
            if (wrong) return *wrong;
        }
        if (auto wrong = whole_file()) return *wrong;
        return std::move(curve_);
    }

private:
    std::optional<Error> option_line(std::string_view rest) {
        if (options_seen_) return std::nullopt;  // further ones are ignored, says the specification
        options_seen_ = true;
        const auto all = words(rest);
        for (std::size_t k = 0; k < all.size(); ++k) {
            const std::string word = lower_case(all[k]);
            if (word == "hz" || word == "khz" || word == "mhz" || word == "ghz") {
                options_.hertz = word == "hz" ? 1 : word == "khz" ? 1e3 : word == "mhz" ? 1e6 : 1e9;
            } else if (word == "s" || word == "y" || word == "z") {
                options_.parameter = word[0];
            } else if (word == "g" || word == "h") {
                return lines_.error(fmt::format("parameters {} belong to two ports; a one-port has S, Y or Z", all[k]));
            } else if (word == "ma" || word == "db" || word == "ri") {
                options_.form = word == "ma"   ? Form::magnitude_angle
                                : word == "db" ? Form::decibel_angle
                                               : Form::real_imaginary;
            } else if (word == "r") {
                const auto value = k + 1 < all.size() ? number_in(all[k + 1]) : std::nullopt;
                if (!value || !(*value > 0)) return lines_.error("R must be followed by a resistance greater than 0");
                if (k + 2 < all.size() && number_in(all[k + 2]))
                    return lines_.error("references of several ports; only one-port files can be read");
                options_.reference_ohm = *value;
                ++k;
            } else {
                return lines_.error(fmt::format("{} is not known on the option line", record::in_quotes(all[k])));
            }
        }
        return std::nullopt;
    }

    std::optional<Error> keyword(std::string_view line) {
        const std::size_t close = line.find(']');
        if (close == std::string_view::npos) return lines_.error("a keyword without its closing bracket");
        const std::string name = lower_case(trimmed(line.substr(1, close - 1)));
        const std::string_view argument = trimmed(line.substr(close + 1));
        if (awaits_reference_) return lines_.error("[Reference] has no value");
        if (name == "version") {
            if (second_version_ || options_seen_ || !curve_.frequency_hz.empty() || points_ > 0)
                return lines_.error("[Version] must come first");
            if (argument != "2.0" && argument != "2.1")
                return lines_.error(fmt::format("version {}; 1.0, 2.0 and 2.1 are known", record::in_quotes(argument)));
            second_version_ = true;
            return std::nullopt;
        }
        if (!second_version_) return lines_.error("keywords belong to version 2; [Version] is missing before them");
        if (name == "number of ports") {
            if (argument != "1") return lines_.error("only one-port files can be read");
            ports_seen_ = true;
        } else if (name == "number of frequencies") {
            const auto value = number_in(argument);
            if (!value || !(*value >= 1) || *value != std::floor(*value) || *value > static_cast<double>(kMostPoints))
                return lines_.error(
                    fmt::format("[Number of Frequencies] must be a whole number from 1 to {}", kMostPoints));
            expected_ = static_cast<std::size_t>(*value);
        } else if (name == "reference") {
            if (argument.empty()) {
                awaits_reference_ = true;
            } else {
                return reference(argument);
            }
        } else if (name == "matrix format" || name == "two-port data order") {
            // One port has but one entry.
        } else if (name == "begin information") {
            informing_ = true;
        } else if (name == "network data") {
            if (!options_seen_ || !ports_seen_ || !expected_)
                return lines_.error("[Network Data] before option line, [Number of Ports] and [Number of Frequencies]");
            in_data_ = true;
        } else if (name == "end") {
            ended_ = true;
        } else {
            return lines_.error(fmt::format("keyword {} is not known for one port", record::in_quotes(name)));
        }
        return std::nullopt;
    }

    std::optional<Error> reference(std::string_view argument) {
        awaits_reference_ = false;
        const auto all = words(argument);
        const auto value = all.size() == 1 ? number_in(all[0]) : std::nullopt;
        if (!value || !(*value > 0)) return lines_.error("[Reference] must be one resistance greater than 0");
        options_.reference_ohm = *value;
        return std::nullopt;
    }

    std::optional<Error> point(std::string_view line) {
        if (second_version_ && !in_data_) return lines_.error("data before [Network Data]");
        if (!second_version_ && !options_seen_) return lines_.error("data before the option line (# Hz S MA R 50)");
        const auto all = words(line);
        if (all.size() != 3) {
            return lines_.error(fmt::format("{} words; one port has a frequency and a pair of numbers", all.size()));
        }
        std::array<double, 3> v{};
        for (std::size_t k = 0; k < 3; ++k) {
            const auto value = number_in(all[k]);
            if (!value) return lines_.error(fmt::format("{} is not a number", record::in_quotes(all[k])));
            v[k] = *value;
        }
        if (!(v[0] >= 0)) return lines_.error("the frequency is negative");
        const double frequency_hz = v[0] * options_.hertz;
        if (!std::isfinite(frequency_hz)) return lines_.error("a frequency too large to be one");
        if (points_ > 0 && !(frequency_hz > last_hz_)) return lines_.error("the frequency does not rise");
        if (++points_ > kMostPoints) return lines_.error(fmt::format("more than {} points", kMostPoints));
        last_hz_ = frequency_hz;
        const Complex z = impedance(v[1], v[2]);
        if (frequency_hz > 0 && dsp::is_finite(z)) {
            curve_.frequency_hz.push_back(frequency_hz);
            curve_.impedance_ohm.push_back(z);
        }
        return std::nullopt;
    }

    [[nodiscard]] Complex impedance(double a, double b) const {
        constexpr double kRadians = std::numbers::pi / 180;
        const Complex value = options_.form == Form::real_imaginary  ? Complex(a, b)
                              : options_.form == Form::decibel_angle ? std::polar(std::pow(10.0, a / 20), b * kRadians)
                                                                     : std::polar(1.0, b * kRadians) * a;
        const double r = options_.reference_ohm;
        if (options_.parameter == 's') return r * (1.0 + value) / (1.0 - value);
        const double unit = second_version_ ? 1 : r;  // normalised in version 1 only
        return options_.parameter == 'z' ? value * unit : unit / value;
    }

    std::optional<Error> whole_file() {
        if (informing_) return lines_.error("[End Information] is missing");
        if (second_version_ && !ended_) return lines_.error("[End] is missing: the file is cut off");
        if (second_version_ && points_ != expected_.value_or(0)) {
            return lines_.error(
                fmt::format("{} points, but [Number of Frequencies] says {}", points_, expected_.value_or(0)));
        }
        if (curve_.frequency_hz.empty()) return lines_.error("no points of a one-port response");
        return std::nullopt;
    }

    TextLines lines_;
    Options options_;
    measure::Curve curve_;
    bool second_version_ = false, options_seen_ = false, ports_seen_ = false, in_data_ = false, ended_ = false;
    bool informing_ = false, awaits_reference_ = false;
    std::optional<std::size_t> expected_;
    std::size_t points_ = 0;
    double last_hz_ = 0;
};

}  // namespace

Result<measure::Curve> parse_touchstone(std::string_view text, std::string_view origin) {
    return Touchstone(text, origin).read();
}

}  // namespace coldtune::share
