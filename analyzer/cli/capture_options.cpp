#include "analyzer/cli/capture_options.hpp"

#include <CLI/CLI.hpp>

namespace coldtune::cli {

void add_capture_options(CLI::App& app, CaptureOptions& o) {
    app.add_option("CAPTURE", o.capture_path, "WAV or FLAC: channel 1 generator side, channel 2 coil side")
        ->required()
        ->type_name("CAPTURE");
    add_bench_options(app, o.bench);
    add_coupled_flag(app, o.bench);
    app.add_option("--period", o.period, "Frames in one period of the sweep; without it, any excitation")
        ->check(CLI::Range(64, 1 << 24));
    app.add_option("--settle", o.settle, "Periods dropped at the start (default 1)")->check(CLI::Range(0, 1000));
    app.add_option("--shorted", o.shorted_path,
                   "With --hookup winding: the same capture again with the primary shorted, for the coupling k")
        ->type_name("FILE");
}

}  // namespace coldtune::cli
