// Books in memory for tests: everything in them is made up but has the size and form of the real thing.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/book/book.hpp"

namespace coldtune::test {

inline record::Json example_result(double frequency_hz, double q) {
    record::Json budget = record::Json::array();
    for (const char* source :
         {"noise", "form of the loss", "clock", "reference resistor", "channel gains", "channel phase", "lead"}) {
        budget.push_back({{"source", source},
                          {"frequency_u_hz", frequency_hz * 1.2345678901234e-7},
                          {"q_u", q * 2.3456789012345e-5},
                          {"resistance_u_ohm", 3.4134986505916913}});
    }
    return {{"schema", "coldtune.result.v1"},
            {"program_version", "0.1.0"},
            {"hookup", "foot"},
            {"verdict", "good"},
            {"findings", record::Json::array()},
            {"sample_rate_hz", 192000.0},
            {"averages", 9},
            {"clock_drift_ppm", 6.731421081633374e-08},
            {"usable_band_hz", {1000.5, 86400.0}},
            {"resonance",
             {{"way", "in-band"},
              {"frequency_hz", frequency_hz},
              {"frequency_u95_hz", 3.9005864122436535},
              {"q", q},
              {"q_u95", 0.02588690575741591},
              {"resistance_ohm", 591.235309439258},
              {"resistance_u95_ohm", 15.266059594157964},
              {"chi_square", 2573.6127762903707},
              {"degrees_of_freedom", 2018},
              {"fit_window_hz", {65053.5, 66570.0}},
              {"other_peaks_hz", record::Json::array()},
              {"budget", std::move(budget)}}},
            {"winding", nullptr},
            {"coupling", nullptr},
            {"calculated", nullptr},
            {"difference_percent", nullptr}};
}

// A book of `runs` runs, each on a capture of its own (which need not exist), with a response of as many points as a
// book ever holds.
inline book::Book example_book(int runs) {
    book::Book b;
    b.created_utc = b.saved_utc = "2026-11-27T10:30:00Z";
    b.program_version = "0.1.0";
    b.save_number = 1;
    const auto coil = record::parse_json(
        R"({"name": "made up", "secondary": {"diameter": "16cm", "length": "75cm", "turns": 2500, "wire": "0.25mm",
            "base_height": "15cm"}, "topload": null})",
        "example");
    b.coils.push_back({1, "2026-11-27T10:30:00Z", std::make_shared<const record::Json>(*coil)});
    b.interfaces.push_back({1, "made up", 1e6, 150e-12});
    for (int i = 1; i <= runs; ++i) {
        const std::string capture = fmt::format("{:04}-foot.flac", i);
        book::KeptCapture kept;
        kept.kept = {capture, std::string(64, 'a'), 4600823};
        kept.hookup = "foot";
        kept.sample_rate_hz = 192000;
        kept.frames = 1348160;
        kept.device = "made up";
        kept.recorded_utc = "2026-11-27T10:30:00Z";
        kept.origin = "foot.wav";
        kept.origin_sha256 = std::string(64, 'b');
        b.captures.push_back(std::move(kept));
        book::Run run;
        run.number = i;
        run.name = fmt::format("foot {}", i);
        run.time_utc = "2026-11-27T10:30:00Z";
        run.program_version = "0.1.0";
        run.coil = run.interface_number = 1;
        run.capture = capture;
        run.settings.reference_ohm = 10e3;
        run.result = std::make_shared<const record::Json>(example_result(65807.9178078885 + i, 129.9971058201796));
        run.result_file = {fmt::format("run-{:04}.json", i), std::string(64, 'c'), 5231867};
        book::ResponseOutline outline;
        outline.bins = 57867;
        for (std::size_t k = 0; k < book::most_outline_points; ++k) {
            const double f = 1000 * std::pow(1.048, static_cast<double>(k));
            outline.frequency_hz.push_back(f);
            outline.impedance_real_ohm.push_back(591.235 + f * 1e-3);
            outline.impedance_imaginary_ohm.push_back(-1e10 / f);
            outline.standard_deviation_ohm.push_back(0.0123456789 * f);
        }
        run.response = std::move(outline);
        run.notes.push_back({"2026-11-27T10:30:00Z", "made up"});
        b.runs.push_back(std::move(run));
        b.last_run_number = i;
    }
    return b;
}

}  // namespace coldtune::test
