// The tuning job as the user sets it: which measurement stands in which place, the allowance, another top load to try.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "gui/coil_form.hpp"

namespace coldtune::gui {

// A measurement in its place. Of a run it keeps what the run wrote, so that it outlives the run and the day.
struct Evidence {
    std::string name;       // "Run 3"; of a file its path
    std::string written;    // as analyze --json writes it, without the curve; empty: `name` is a file to be read
    bool by_hand = false;   // chosen by the user: a newer run does not push it out
    std::string when = {};  // of a run, local time as "2026-11-27 22:05": there may be another of that number
    [[nodiscard]] bool is_file() const { return written.empty(); }
    friend bool operator==(const Evidence&, const Evidence&) = default;
};

// Where a measurement may stand, by key. Taps come beside them, any number: "tap.0", "tap.1", ... in order of making.
namespace place {
inline constexpr std::string_view bare = "bare";              // the secondary without its top load
inline constexpr std::string_view secondary = "secondary";    // as it will stand
inline constexpr std::string_view inductance = "inductance";  // of its winding, head tied
inline constexpr std::string_view both = "both";              // secondary and tank together, gap bridged
inline constexpr std::string_view coupling = "coupling";      // of the winding with the primary shorted
inline constexpr std::string_view new_tap = "tap";            // a further tap
}  // namespace place

struct TapPlace {
    Evidence evidence;
    std::string turns;  // as typed; empty: as the measurement's own description says
    friend bool operator==(const TapPlace&, const TapPlace&) = default;
};

struct TuningForm {
    std::map<std::string, Evidence, std::less<>> places;
    std::vector<TapPlace> taps;    // the last one is how the tank stands
    std::string allowance = "3%";  // tuning::kDefaultAllowance as one types it
    std::string instead_shape;     // toroid, sphere, disc; empty: no other top load is asked about
    CoilForm instead;              // only its texts "topload.0...."
    friend bool operator==(const TuningForm&, const TuningForm&) = default;
};

// Whether a result can stand in a place.
bool fits(std::string_view place, const measure::MeasurementResult& result);

// Puts a new run where it belongs: by its hookup, and by whether its description has a top load. What was chosen by
// hand stays. A tank at a tap that is there already takes its place, as the one that stands now. Returns the place in
// words, empty when it has none.
std::string take_run(TuningForm& form, const Evidence& run, const measure::MeasurementResult& result);

// By the user: in a place or, for place::new_tap and "tap.N", among the taps. False when there is no such place.
bool put(TuningForm& form, std::string_view key, Evidence evidence);
bool take_away(TuningForm& form, std::string_view key);
const Evidence* evidence_at(const TuningForm& form, std::string_view key);
// "tap.3" -> 3, when there is such a tap.
std::optional<std::size_t> tap_index(const TuningForm& form, std::string_view key);

// Another top load starts from the ordinary sizes of its shape.
void set_instead(TuningForm& form, const std::string& shape);

struct TuningReading {
    std::optional<double> allowance;
    std::vector<std::optional<double>> tap_turns;                // one a tap; empty where nothing is typed
    std::optional<model::CoilDescription> instead;               // the described coil with the other top load
    std::map<std::string, std::string, std::less<>> complaints;  // by field: "allowance", "tap.0", "topload.0.height"
};
TuningReading read(const TuningForm& form, const CoilForm& coil);

// For the settings file. What cannot be read is left out.
std::string to_json(const TuningForm& form);
TuningForm tuning_form_from_json(std::string_view json_text);

}  // namespace coldtune::gui
