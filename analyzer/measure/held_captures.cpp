#include "analyzer/measure/held_captures.hpp"

#include <fmt/format.h>

#include <array>
#include <optional>
#include <span>
#include <utility>

namespace coldtune::measure {

bool from_one_input(const audio::CaptureFile& file) {
    return file.note && !file.note->held_stream.empty();
}

namespace {

using Other = std::pair<const std::optional<Standard>*, const char*>;

// Two recordings always differ by their noise; alike to the last bit they are one file under two names.
bool same_recording(const audio::CaptureFile& a, const audio::CaptureFile& b) {
    return a.capture.frames() > 0 && a.capture.generator == b.capture.generator && a.capture.coil == b.capture.coil;
}

std::optional<Finding> judge_one_recording_twice(const AnalysisRequest& request, std::span<const Other> others) {
    const auto twice = [](const std::string& file, const char* as, const char* and_as) {
        return Finding{FindingCode::correction_stale, Weight::reject,
                       fmt::format("{} is given as the {} and holds the same recording as the {}; name the capture "
                                   "that was made with the lead as that standard needs it",
                                   file, as, and_as)};
    };
    for (std::size_t i = 0; i < others.size(); ++i) {
        const auto& [one, name] = others[i];
        if (!*one) continue;
        if (same_recording((*one)->file, request.coil)) return twice((*one)->name, name, "coil");
        for (std::size_t k = 0; k < i; ++k) {
            const auto& [before, other_name] = others[k];
            if (*before && same_recording((*one)->file, (*before)->file)) return twice((*one)->name, name, other_name);
        }
    }
    return std::nullopt;
}

}  // namespace

std::vector<Finding> judge_held_captures(const AnalysisRequest& request) {
    std::vector<Finding> out;
    const bool one_input = from_one_input(request.coil);
    const std::array<Other, 4> others = {
        Other{&request.open, "open standard"}, Other{&request.short_circuit, "short standard"},
        Other{&request.load, "load standard"}, Other{&request.shorted, "shorted capture"}};
    if (auto twice = judge_one_recording_twice(request, others)) {
        out.push_back(std::move(*twice));
        return out;
    }
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
