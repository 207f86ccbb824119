#include "gui/settings_file.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <nlohmann/json.hpp>

#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::gui {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr std::size_t kMostForgotten = 200;
constexpr const char* kSchema = "coldtune.window.v1";
// Seventeen results of a tuning, a mebibyte each at most, and the rest.
constexpr std::size_t kLongestFile = std::size_t{32} << 20;

template <typename T>
void take(const Json& from, const char* key, T& into) {
    const auto found = from.find(key);
    if (found == from.end()) return;
    if constexpr (std::is_same_v<T, bool>) {
        if (found->is_boolean()) into = found->get<bool>();
    } else if constexpr (std::is_integral_v<T>) {
        // A number that T cannot hold stays at T's end instead of becoming anything.
        if (found->is_number()) {
            into = static_cast<T>(std::clamp(found->get<double>(), static_cast<double>(std::numeric_limits<T>::min()),
                                             static_cast<double>(std::numeric_limits<T>::max())));
        }
    } else if constexpr (std::is_floating_point_v<T>) {
        if (found->is_number()) into = found->get<T>();
    } else {
        if (found->is_string()) into = found->get<std::string>();
    }
}

void take_bench(const Json& from, BenchForm& bench) {
    take(from, "device", bench.device);
    take(from, "rate", bench.sample_rate_hz);
    take(from, "output", bench.output_channel);
    take(from, "generator_input", bench.generator_input);
    take(from, "coil_input", bench.coil_input);
    std::string hookup;
    take(from, "hookup", hookup);
    if (const auto known = bench::hookup_from_name(hookup); known && bench::seeks_resonance(*known)) {
        bench.hookup = *known;
    }
    for (const FieldSpec& f : bench_fields()) take(from, std::string(f.key).c_str(), bench.text[std::string(f.key)]);

    const BenchForm usual;
    if (bench.device.empty()) bench.device = usual.device;
    if (!(bench.sample_rate_hz >= 8000 && bench.sample_rate_hz <= 384000)) bench.sample_rate_hz = usual.sample_rate_hz;
    for (int* channel : {&bench.output_channel, &bench.generator_input, &bench.coil_input}) {
        *channel = std::clamp(*channel, 0, 63);
    }
}

// Our folder where the variable says; a path that is not absolute is to be ignored, says the specification.
fs::path xdg_folder(const char* variable, const char* in_home) {
    if (const char* named = std::getenv(variable); named != nullptr && named[0] == '/') {
        return fs::path(named) / "coldtune";
    }
    if (const char* home = std::getenv("HOME"); home != nullptr && home[0] == '/') {
        return fs::path(home) / in_home / "coldtune";
    }
    return {};
}

void take_document(const Json& root, CoilDocument& document) {
    take(root, "coil_path", document.path);
    take(root, "coil_seen", document.seen.sha256);
    bool there = false;
    if (const auto draft = root.find("draft"); draft != root.end()) {
        if (auto form = form_from_draft(draft->dump(), "the remembered coil")) {
            document.form = std::move(*form);
            there = true;
        }
    }
    // As versions before the draft wrote it.
    if (const auto coil = root.find("coil"); !there && coil != root.end() && coil->is_object()) {
        if (auto form = form_from_json(coil->dump(), "the remembered coil")) document.form = std::move(*form);
    }
    bool unsaved = true;
    take(root, "unsaved", unsaved);
    if (document.path.empty()) return;
    auto file = open_document(document.path);
    if (file && !unsaved) {
        document = std::move(*file);
    } else {
        // Without a file that can be read nothing of it is saved.
        document.saved = file ? std::move(file->saved) : CoilForm{};
    }
}

}  // namespace

fs::path settings_path() {
    const fs::path folder = xdg_folder("XDG_CONFIG_HOME", ".config");
    return folder.empty() ? folder : folder / "window.json";
}

fs::path state_folder() {
    return xdg_folder("XDG_STATE_HOME", ".local/state");
}

fs::path pictures_folder() {
    std::error_code ignored;
    return fs::current_path(ignored);
}

Remembered load_settings(const fs::path& path) {
    Remembered r;
    const auto json = record::read_json(path, {.bytes = kLongestFile});
    if (!json || !json->is_object()) return r;
    const Json& root = *json;
    std::string schema;
    take(root, "schema", schema);
    if (schema != kSchema) return r;
    take(root, "width", r.width);
    take(root, "height", r.height);
    take(root, "dark", r.dark);
    take(root, "text_scale", r.text_scale);
    r.width = std::clamp(r.width, 640, 16384);
    r.height = std::clamp(r.height, 480, 16384);
    r.text_scale = std::isfinite(r.text_scale) ? std::clamp(r.text_scale, 1.0, 2.5) : 1.0;
    if (const auto bench = root.find("bench"); bench != root.end() && bench->is_object()) take_bench(*bench, r.bench);
    take_document(root, r.document);
    if (const auto forgotten = root.find("forgotten_standards"); forgotten != root.end() && forgotten->is_array()) {
        for (const Json& sum : *forgotten) {
            if (sum.is_string() && r.forgotten_standards.size() < kMostForgotten) {
                r.forgotten_standards.push_back(sum.get<std::string>());
            }
        }
    }
    if (const auto tuning = root.find("tuning"); tuning != root.end()) r.tuning = tuning_form_from_json(tuning->dump());
    return r;
}

Status save_settings(const Remembered& r, const fs::path& path) {
    if (path.empty()) return Done{};
    std::error_code failed;
    fs::create_directories(path.parent_path(), failed);
    if (failed) return bad_input(path.parent_path().string() + ": cannot be made; the window forgets its settings");
    Json root;
    root["schema"] = kSchema;
    root["width"] = r.width;
    root["height"] = r.height;
    root["dark"] = r.dark;
    root["text_scale"] = r.text_scale;
    root["coil_path"] = r.document.path;
    root["coil_seen"] = r.document.seen.sha256;
    root["unsaved"] = r.document.unsaved();
    Json& bench = root["bench"];
    bench["device"] = r.bench.device;
    bench["rate"] = r.bench.sample_rate_hz;
    bench["hookup"] = std::string(bench::describe(r.bench.hookup).name);
    bench["output"] = r.bench.output_channel;
    bench["generator_input"] = r.bench.generator_input;
    bench["coil_input"] = r.bench.coil_input;
    for (const auto& [key, value] : r.bench.text) bench[key] = value;
    root["draft"] = Json::parse(draft_json(r.document.form));
    root["forgotten_standards"] = r.forgotten_standards;
    root["tuning"] = Json::parse(to_json(r.tuning));
    // Typed text may hold anything; bytes that are no UTF-8 are replaced.
    return record::write_file_atomically(path, root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n");
}

Remembered remembered_of(const State& state, int width, int height) {
    return {width,
            height,
            state.dark,
            state.text_scale,
            state.bench,
            {state.coil, state.coil_path, state.coil_seen, state.coil_saved},
            state.tuning.form,
            state.forgotten_standards};
}

}  // namespace coldtune::gui
