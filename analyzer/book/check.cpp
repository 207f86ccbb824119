#include "analyzer/book/check.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace coldtune::book {

bool CheckReport::sound() const {
    return std::none_of(findings.begin(), findings.end(), [](const CheckFinding& f) { return f.wrong; });
}

CheckReport check_book(Book book, const Places& places, bool again, const std::function<void(int)>& progress) {
    CheckReport report;
    report.runs = book.runs.size();
    const auto enter = [&](const std::vector<Alteration>& found) {
        for (const Alteration& a : found) report.findings.push_back({true, a.where, a.sentence});
    };
    enter(settle_alterations(book, places));
    const auto look = [&](const KeptFile& kept, const std::string& where) {
        ++report.files;
        if (const Status sound = check_kept(places, kept); !sound) {
            report.findings.push_back({true, where, sound.error().message});
        }
    };
    for (const KeptCapture& c : book.captures) {
        std::string users;
        for (const Run& run : book.runs) {
            const StandardFiles& s = run.standards;
            for (const std::string* file : {&run.capture, &s.open, &s.short_circuit, &s.load, &s.shorted}) {
                if (*file != c.kept.file) continue;
                users += fmt::format("{}{}", users.empty() ? ", of run " : ", ", run.number);
                break;
            }
            if (users.size() > 60) {
                users += " ...";
                break;
            }
        }
        look(c.kept, c.kept.file + users);
    }
    for (Run& run : book.runs) {
        look(run.result_file, fmt::format("result of run {}", run.number));
        enter(settle_unsealed(run, places));
    }
    for (const std::string& name : unknown_files(book, places)) {
        report.findings.push_back({false, name, "lies among the captures, but the book does not speak of it"});
    }
    if (!again) return report;
    for (const Run& run : book.runs) {
        if (progress) progress(run.number);
        const auto outcome = analyse_again(book, places, run);
        const std::string where = fmt::format("run {}", run.number);
        if (!outcome) {
            report.findings.push_back({true, where, "cannot be analysed again: " + outcome.error().message});
            continue;
        }
        ++report.runs_again;
        if (outcome->same) {
            ++report.runs_same;
        } else {
            report.findings.push_back({true, where,
                                       fmt::format("analysed again it gives another result: {} (stored by version {}, "
                                                   "this is {})",
                                                   outcome->difference, run.program_version, COLDTUNE_VERSION)});
        }
    }
    return report;
}

}  // namespace coldtune::book
