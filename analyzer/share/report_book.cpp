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
    page.time_utc = capture != nullptr && !capture->recorded_utc.empty() ? capture->recorded_utc : run.time_utc;
    if (const book::Interface* interface = book.find_interface(run.interface_number)) page.device = interface->device;
    page.reference = record::format_quantity(run.settings.reference_ohm, record::Unit::ohm, 4, true);
    for (const book::Note& note : run.notes) page.note += (page.note.empty() ? "" : "; ") + note.text;
    page.coil_version = run.coil;
    page.result = std::move(*result);
    return page;
}

}  // namespace

Result<BookPages> pages_of(const book::Book& book, const book::Places& places, const std::vector<std::string>& chosen) {
    const auto runs = chosen_runs(book, places, chosen);
    if (!runs) return runs.error();
    BookPages pages;
    const book::Run* last_tank = nullptr;
    for (const book::Run* run : *runs) {
        auto page = page_of(book, *run);
        if (!page) return Error{page.error().kind, fmt::format("{}: {}", places.name(), page.error().message)};
        auto known = measure::parse_any_result(record::json_text(*run->result, -1), "run " + page->name);
        if (known && known->tank_resonance && run->coil > 0) last_tank = run;
        if (known) pages.known.push_back(std::move(*known));
        pages.runs.push_back(std::move(*page));
    }
    std::map<std::pair<bench::Hookup, bool>, std::size_t> drawn;
    for (std::size_t k = pages.runs.size(); k-- > 0;) {
        ReportRun& page = pages.runs[k];
        std::size_t& together = drawn[{page.result.hookup, page.result.pair() != nullptr}];
        if (!curve_is_sound(page.result) || together >= most_drawn_together) continue;
        ++together;
        auto whole = book::kept_result(places, *(*runs)[k]);
        if (whole) {
            page.result.curve = std::move(whole->curve);
        } else {
            pages.remarks.push_back(fmt::format("run {} is not drawn: {}", (*runs)[k]->number, whole.error().message));
        }
    }
    // The description of the run the report is about, else the last one there is.
    Report about;
    about.runs = std::move(pages.runs);
    const ReportRun* main = main_run(about);
    const int main_coil = main != nullptr ? main->coil_version : 0;
    pages.runs = std::move(about.runs);
    for (const book::Run* run : *runs) {
        if (run->coil > 0) pages.coil_version = run->coil;
    }
    if (main_coil > 0) pages.coil_version = main_coil;
    for (const book::Run* run : *runs) {
        if (pages.coil || run->coil == 0 || run->coil != pages.coil_version) continue;
        auto coil = book::description_of(book, *run);
        if (!coil) return Error{coil.error().kind, fmt::format("{}: {}", places.name(), coil.error().message)};
        pages.coil = std::move(*coil);
    }
    if (last_tank != nullptr) {
        auto coil = book::description_of(book, *last_tank);
        if (!coil) return Error{coil.error().kind, fmt::format("{}: {}", places.name(), coil.error().message)};
        pages.tank_coil = std::move(*coil);
        pages.tank_coil_name = fmt::format("coil version {}", last_tank->coil);
    }
    return pages;
}

}  // namespace coldtune::share
