// Runs: made from captures, and made again from what the book kept.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "analyzer/book/book_file.hpp"
#include "analyzer/book/kept_files.hpp"
#include "analyzer/measure/analysis.hpp"

namespace coldtune::book {

// What a new run is made of, still outside the book. A path that is empty is not used.
struct NewRun {
    std::string name;  // "" = that of the capture's file, or else of the hookup
    bench::Hookup hookup = bench::Hookup::foot;
    std::variant<std::filesystem::path, audio::CaptureFile> capture;
    std::filesystem::path open, short_circuit, load, shorted;
    dsp::BenchValues bench;  // load_ohm counts only with a load standard
    measure::BenchTolerances tolerances;
    bool coupled = false;  // hookup foot only
    std::optional<std::size_t> period_frames, settle_periods;
    std::filesystem::path coil;  // COIL.json
    std::string note;
    KeepAs keep_as = KeepAs::flac;
};

struct AddedRun {
    int number = 0;
    measure::MeasurementResult result;
    std::vector<std::string> remarks;  // on how captures were kept, and on the name
};

// Keeps the captures, analyses what was kept, and adds the run to the book in memory; `file.save()` makes it last. A
// rejected measurement is a run too. Without a name it is called after its capture; where that cannot be, a remark says
// what it is called instead. On an error the book is as before, and what was kept of other files is taken back;
// a recording from memory stays in the captures folder, as it exists nowhere else: the message and `recording` say as
// what, unless it could not even be kept.
Result<AddedRun> add_run(BookFile& file, NewRun run, std::filesystem::path* recording = nullptr);

// What `measure::analyze` was asked, from the kept files (their checksums are looked at) and the settings of the run.
// Messages call standards by their kept names.
Result<measure::AnalysisRequest> request_of(const Book& book, const Places& places, const Run& run);

// A result as the run's result file holds it and `analyze --json --curve` prints it.
std::string result_text(const measure::MeasurementResult& result);

// The text of a run's result file; errors as of read_kept_text.
Result<std::string> stored_result(const Places& places, const Run& run);

// The result of a run with its whole curve, read back from its file. Errors as of read_kept_text and of
// measure::result_from_json.
Result<measure::MeasurementResult> kept_result(const Places& places, const Run& run);

// The same without a curve, from the book alone.
Result<measure::MeasurementResult> kept_values(const Run& run);

// The coil as the run was analysed with it. Errors (bad_input): none was described, or it cannot be calculated.
Result<model::CoilDescription> description_of(const Book& book, const Run& run);

// How a repeated analysis compares with the stored result.
struct Again {
    bool same = false;       // bit for bit, but for the version of the program if that is another
    std::string difference;  // where it differs first: "resonance.frequency_hz: 65807.9 then, 65807.8 now"
};
Result<Again> analyse_again(const Book& book, const Places& places, const Run& run);

// Whether a run may be called so. Errors (usage): empty, longer than 100 characters, several lines, control characters,
// not UTF-8, digits alone (they would mean a run's number).
Status check_name(std::string_view name);

// The same of a note. Errors (usage): empty, longer than 2,000 bytes, several lines, control characters, not UTF-8.
Status check_note(std::string_view text);

// A note on a run, of one line. Errors (usage): there is no such run, and those of check_note.
Status add_note(Book& book, int run_number, std::string_view text);

// What a list shows of a result, read carefully: a book may come from anywhere.
struct Headline {
    std::string verdict;  // "changed", and nothing else, where the run is not as it was kept
    std::optional<double> resonance_hz, resonance_u95_hz, q;
    std::optional<double> inductance_h, inductance_u95_h;                                        // hookup winding
    std::string way;                                                                             // of the resonance
    std::optional<double> primary_hz, primary_u95_hz, secondary_hz, secondary_u95_hz, k, k_u95;  // of a coupled pair
};
Headline headline_of(const Run& run);

}  // namespace coldtune::book
