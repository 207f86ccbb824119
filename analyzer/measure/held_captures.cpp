#include "analyzer/measure/held_captures.hpp"

#include <fmt/format.h>

#include <utility>

namespace coldtune::measure {

bool from_one_input(const audio::CaptureFile& file) {
    return file.note && !file.note->held_stream.empty();
}

std::vector<Finding> judge_held_captures(const AnalysisRequest& request) {
    std::vector<Finding> out;
    const bool one_input = from_one_input(request.coil);
    const std::pair<const std::optional<Standard>*, const char*> others[] = {{&request.open, "open standard"},
                                                                             {&request.short_circuit, "short standard"},
                                                                             {&request.load, "load standard"},
                                                                             {&request.shorted, "shorted capture"}};
    for (const auto& [other, name] : others) {
        if (!*other) continue;
        const auto& file = (*other)->file;
        if (!one_input && !from_one_input(file)) continue;
        if (one_input && from_one_input(file) && file.note->held_stream == request.coil.note->held_stream) continue;
        out.push_back({FindingCode::correction_stale, Weight::reject,
                       fmt::format("the {} {} and the capture were not made in one and the same open stream, which an "
                                   "interface with one input needs; measure both again with --one-input",
                                   name, (*other)->name)});
    }
    if (!one_input || !out.empty() || !bench::seeks_resonance(request.hookup)) return out;
    if (request.hookup == bench::Hookup::pickup) {
        out.push_back({FindingCode::uncorrected, Weight::reject,
                       "a pickup needs the second input: this capture was made with one; use the foot hookup"});
    } else if (!request.open || !request.load) {
        out.push_back({FindingCode::uncorrected, Weight::reject,
                       "this capture was made with one input: without the open and the load standard of the same "
                       "stream nothing tells the coil from the interface; name both"});
    }
    return out;
}

}  // namespace coldtune::measure
