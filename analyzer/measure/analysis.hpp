// From captures to a result: the whole offline path.
//
//     capture -> health -> response -> correction -> (in-band fit) -> findings, verdict, uncertainty
#pragma once

#include <optional>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/model/geometry.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

// Limits the user vouches for (plus/minus, rectangular unless said otherwise); the defaults are common practice, no
// source.
struct BenchTolerances {
    double reference_relative = 0.01;          // 1 % resistor
    double load_relative = 0.001;              // a measured or 0.1 % resistor as the load standard
    double input_capacitance_relative = 0.30;  // declared, not measured
    double channel_gain_relative = 0.02;       // between the two inputs, while no load standard was used
    double channel_phase_rad = 0.003;          // likewise
    double lead_resistance_ohm = 0.1;          // of the clip leads, while no short standard was used
    double lead_inductance_h = 0.5e-6;         // about half a metre of lead
    double clock_ppm = 50;                     // of the interface's crystal
};

struct Standard {
    audio::CaptureFile file;
    std::string name;  // how messages call it, e.g. the path
};

struct AnalysisRequest {
    bench::Hookup hookup = bench::Hookup::foot;
    audio::CaptureFile coil;  // the capture itself (a standard's when the hookup is one)
    std::string coil_name;    // how messages call it, e.g. the path; empty where it has no name
    std::optional<Standard> open, short_circuit, load;
    std::optional<Standard> shorted;  // hookup winding only: the same again with the primary shorted
    bool coupled = false;             // hookup foot only: the tank is closed, two resonances are sought together
    dsp::BenchValues bench;
    BenchTolerances tolerances;
    std::optional<std::size_t> period_frames;   // nullopt: the file's note if the signal confirms it, else unknown
    std::optional<std::size_t> settle_periods;  // nullopt: the file's note, else 1
    std::optional<model::CoilDescription> description;
    // The capture is cut out of a steady signal: nothing to settle, no silence around it.
    bool settled = false;
};

// Never fails for what the capture holds: that is a rejected result with findings. Errors (bad_input) are for requests
// that make no sense, such as a period longer than the capture, and for a description that cannot be built.
Result<MeasurementResult> analyze(const AnalysisRequest& request);

}  // namespace coldtune::measure
