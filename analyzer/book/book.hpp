// The bench book: everything measured on one build, as the file NAME.json holds it (schema "coldtune.book.v1",
// published as fixtures/bench_book.schema.json).
//
// Beside the book lie two folders: NAME.captures with every capture the runs rest on and every run's whole result, and
// NAME.saves with the last saves before the present one. The book names what lies there by plain file names and knows
// its SHA-256. Times are UTC (record/utc_time.hpp), values SI.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::book {

// JSON that is kept as it came.
using KeptJson = std::shared_ptr<const record::Json>;

// Tells whether an entry is still as it was kept (seal.hpp); "" in books of before there were any. `altered`, in memory
// only, is set where it is not: then no number of the entry counts.
using Seal = std::string;

// A file in NAME.captures.
struct KeptFile {
    std::string file;  // plain name; "" = none
    std::string sha256;
    std::uint64_t bytes = 0;
};

struct KeptCapture {
    KeptFile kept;
    std::string hookup;  // a hookup's name, as the capture says or else as it was first used
    double sample_rate_hz = 0;
    std::size_t frames = 0;
    std::string device;         // "" = unknown
    std::string recorded_utc;   // "" = unknown
    std::string origin;         // name of the file it was taken from; "" = straight from the interface
    std::string origin_sha256;  // of that file; "" without one
    Seal seal = {};
    bool altered = false;
};

// The coil as it was at some time: what COIL.json said. A changed description is a new version.
struct CoilVersion {
    int number = 0;
    std::string added_utc;
    KeptJson description;
    Seal seal = {};
    bool altered = false;
};

// An audio interface with its cable, as declared.
struct Interface {
    int number = 0;
    std::string device;  // "" = unknown
    double input_resistance_ohm = 0;
    double input_capacitance_f = 0;
    Seal seal = {};
    bool altered = false;
};

struct Note {
    std::string time_utc;
    std::string text;
};

// Further captures a run rests on, by the names of kept files; "" = not used.
struct StandardFiles {
    std::string open, short_circuit, load;
    std::string shorted;  // hookup winding: the same with the primary shorted
};

struct Settings {
    double reference_ohm = 0;
    double load_ohm = 0;  // 0 = no load standard
    measure::BenchTolerances tolerances;
    bool coupled = false;                                      // hookup foot: secondary and closed tank sought together
    std::optional<std::size_t> period_frames, settle_periods;  // nullopt: left to the capture
};

// The corrected response at some of its bins, enough to draw it; all of them are in the run's result file.
struct ResponseOutline {
    std::size_t bins = 0;  // of the whole response
    std::vector<double> frequency_hz, impedance_real_ohm, impedance_imaginary_ohm;
    std::vector<double> standard_deviation_ohm;  // of the complex impedance, k = 1
};

struct Run {
    int number = 0;  // from 1, never given twice in one book
    std::string name;
    std::string time_utc;         // of the analysis
    std::string program_version;  // that made it
    bench::Hookup hookup = bench::Hookup::foot;
    int coil = 0;  // number of the version; 0 = none described
    int interface_number = 0;
    std::string capture;  // file name
    StandardFiles standards;
    Settings settings;
    KeptJson result;                          // "coldtune.result.v1" without its curve
    KeptFile result_file;                     // the same with it: what `analyze --json --curve` prints, byte for byte
    std::optional<ResponseOutline> response;  // nullopt where there is no response to draw
    std::vector<Note> notes;
    Seal seal = {};
    bool altered = false;
};

struct Book {
    std::string created_utc;
    std::string saved_utc;
    std::string program_version;    // that saved it
    std::uint64_t save_number = 0;  // 1 for the first save, one more for every further one
    int last_run_number = 0;        // so that the number of a run taken out is not given again
    std::vector<CoilVersion> coils;
    std::vector<Interface> interfaces;
    std::vector<KeptCapture> captures;
    std::vector<Run> runs;

    [[nodiscard]] const KeptCapture* find_capture(std::string_view file) const;
    [[nodiscard]] const CoilVersion* find_coil(int number) const;
    [[nodiscard]] const Interface* find_interface(int number) const;
    [[nodiscard]] const Run* find_run(int number) const;
};

// The run a person means: its number, or its name when only one run has it. Errors (usage) say what there is.
Result<const Run*> choose_run(const Book& book, std::string_view text);

// Sizes a book may have. A text beyond them is refused, in a file as in a call.
inline constexpr std::size_t longest_book_bytes = std::size_t{64} << 20;  // thousands of runs
inline constexpr std::size_t most_book_values = std::size_t{1} << 23;     // of JSON: twice what that length holds
inline constexpr std::size_t longest_name = 100;
inline constexpr std::size_t longest_note = 2000;
inline constexpr std::size_t most_outline_points = 96;

}  // namespace coldtune::book
