// A locale that writes 1.234,5 for 1234.5, put in force for C++ streams and, where the machine has one, for the C
// library too. For tests that output and input of ours do not care.
#pragma once

#include <clocale>
#include <locale>
#include <string>

namespace coldtune::testing {

class CommaLocale {
public:
    CommaLocale() : before_(std::locale::global(std::locale(std::locale::classic(), new Comma))) {
        c_before_ = std::setlocale(LC_ALL, nullptr);
        for (const char* name : {"de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8", "fr_FR.utf8"}) {
            if (std::setlocale(LC_ALL, name) != nullptr) break;
        }
    }
    ~CommaLocale() {
        std::setlocale(LC_ALL, c_before_.c_str());
        std::locale::global(before_);
    }
    CommaLocale(const CommaLocale&) = delete;
    CommaLocale& operator=(const CommaLocale&) = delete;

private:
    struct Comma : std::numpunct<char> {
        [[nodiscard]] char do_decimal_point() const override { return ','; }
        [[nodiscard]] char do_thousands_sep() const override { return '.'; }
        [[nodiscard]] std::string do_grouping() const override { return "\3"; }
    };
    std::locale before_;
    std::string c_before_;
};

}  // namespace coldtune::testing
