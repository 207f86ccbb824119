#include "analyzer/share/report_book.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "analyzer/book/runs.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::share {
namespace {

Result<std::vector<const book::Run*>> chosen_runs(const book::Book& book, const book::Places& places,
                                                  const std::vector<std::string>& chosen) {
    std::vector<const book::Run*> runs;
    if (chosen.empty()) {
        for (const book::Run& run : book.runs) runs.push_back(&run);
    }
    for (const std::string& text : chosen) {
        const auto run = book::choose_run(book, text);
        if (!run) return run.error();
        runs.push_back(*run);
    }
    std::sort(runs.begin(), runs.end(), [](const auto* a, const auto* b) { return a->number < b->number; });
    runs.erase(std::unique(runs.begin(), runs.end()), runs.end());
    if (runs.empty()) return bad_input(fmt::format("{}: there is no run in it; add one first", places.name()));
    return runs;
}

Result<ReportRun> page_of(const book::Book& book, const book::Run& run) {
    auto result = book::kept_values(run);
    if (!result) return result.error();
    ReportRun page;
    page.name = fmt::format("{} {}", run.number, run.name);
    const book::KeptCapture* capture = book.find_capture(run.capture);
    const bool told = capture != nullptr && !capture->altered && !capture->recorded_utc.empty();
    page.time_utc = told ? capture->recorded_utc : run.time_utc;
    const book::Interface* interface = book.find_interface(run.interface_number);
    if (interface != nullptr && !interface->altered) page.device = interface->device;
    page.reference = record::format_quantity(run.settings.reference_ohm, record::Unit::ohm, 4, true);
    for (const book::Note& note : run.notes) page.note += (page.note.empty() ? "" : "; ") + note.text;
    page.coil_version = run.coil;
    page.result = std::move(*result);
    return page;
}

// The runs asked for as they are to be shown; what cannot be is named.
Result<std::vector<book::Run>> shown_runs(const book::Book& book, const book::Places& places,
                                          const std::vector<std::string>& chosen, std::vector<std::string>& remarks) {
    const auto wanted = chosen_runs(book, places, chosen);
    if (!wanted) return wanted.error();
    std::vector<book::Run> runs;
    for (const book::Run* one : *wanted) {
        if (one->altered) {
            remarks.push_back(
                fmt::format("run {} is left out: it was changed in the book after it was kept", one->number));
            continue;
        }
        book::Run run = *one;
        for (const book::Alteration& a : book::settle_unsealed(run, places)) remarks.push_back(a.text());
        runs.push_back(std::move(run));
    }
    if (runs.empty()) {
        return bad_input(fmt::format("{}: none of the runs asked for is as it was kept; coldtune book check says more",
                                     places.name()));
    }
    return runs;
}

// The curves of those that will be drawn, the last ones of each kind.
void read_curves(const std::vector<book::Run>& runs, const book::Places& places, BookPages& pages) {
    std::map<std::pair<bench::Hookup, bool>, std::size_t> drawn;
    for (std::size_t k = pages.runs.size(); k-- > 0;) {
        ReportRun& page = pages.runs[k];
        std::size_t& together = drawn[{page.result.hookup, page.result.pair() != nullptr}];
        if (!curve_is_sound(page.result)) continue;
        if (together >= most_drawn_together) {
            page.not_drawn = only_the_last_are_drawn;
            continue;
        }
        ++together;
        auto whole = book::kept_result(places, runs[k]);
        if (whole) {
            page.result.curve = std::move(whole->curve);
        } else {
            page.not_drawn = "the file of its curve is missing or not as it was kept";
            pages.remarks.push_back(fmt::format("run {} is not drawn: {}", runs[k].number, whole.error().message));
        }
    }
}

// The description a run was analysed with; one that is not as it was kept is named and not shown.
std::optional<model::CoilDescription> coil_of(const book::Book& book, const book::Run& run,
                                              std::vector<std::string>& remarks) {
    auto coil = book::description_of(book, run);
    if (coil) return std::move(*coil);
    const std::string remark = "the coil is not shown: " + coil.error().message;
    if (std::find(remarks.begin(), remarks.end(), remark) == remarks.end()) remarks.push_back(remark);
    return std::nullopt;
}

}  // namespace

Result<BookPages> pages_of(const book::Book& book, const book::Places& places, const std::vector<std::string>& chosen) {
    BookPages pages;
    const auto runs = shown_runs(book, places, chosen, pages.remarks);
    if (!runs) return runs.error();
    const book::Run* last_tank = nullptr;
    for (const book::Run& run : *runs) {
        auto page = page_of(book, run);
        if (!page) return Error{page.error().kind, fmt::format("{}: {}", places.name(), page.error().message)};
        auto known = measure::parse_any_result(record::json_text(*run.result, -1), "run " + page->name);
        if (known && known->tank_resonance && run.coil > 0) last_tank = &run;
        if (known) pages.known.push_back(std::move(*known));
        pages.runs.push_back(std::move(*page));
    }
    read_curves(*runs, places, pages);
    // The description of the run the report is about, else the last one there is.
    Report about;
    about.runs = std::move(pages.runs);
    const ReportRun* main = main_run(about);
    const int main_coil = main != nullptr ? main->coil_version : 0;
    pages.runs = std::move(about.runs);
    const book::Run* with_coil = nullptr;
    for (const book::Run& run : *runs) {
        if (run.coil > 0 && (main_coil == 0 || run.coil == main_coil)) with_coil = &run;
    }
    if (with_coil != nullptr) {
        pages.coil_version = with_coil->coil;
        pages.coil = coil_of(book, *with_coil, pages.remarks);
    }
    if (last_tank != nullptr) {
        pages.tank_coil = coil_of(book, *last_tank, pages.remarks);
        pages.tank_coil_name = fmt::format("coil version {}", last_tank->coil);
    }
    return pages;
}

}  // namespace coldtune::share
