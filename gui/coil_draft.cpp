#include "gui/coil_draft.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <signal.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/sha256.hpp"

namespace coldtune::gui {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr const char* kDraftSchema = "coldtune.draft.v1";
constexpr std::string_view kDraft = "draft-";
// The parts by the names their keys begin with.
constexpr std::array<std::pair<CoilPart, const char*>, 6> kPartNames = {{{CoilPart::ground, "ground"},
                                                                         {CoilPart::wall, "wall"},
                                                                         {CoilPart::ceiling, "ceiling"},
                                                                         {CoilPart::strike_ring, "strike_ring"},
                                                                         {CoilPart::primary, "primary"},
                                                                         {CoilPart::tank, "tank"}}};

bool known_shape(const std::string& shape) {
    return shape == "toroid" || shape == "sphere" || shape == "disc";
}

// A name nobody has yet, by the day and the time.
fs::path aside_path(const fs::path& folder) {
    const auto now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
    const std::string stem = fmt::format("unsaved-{:%Y%m%d-%H%M%S}", fmt::localtime(now));
    std::error_code ignored;
    fs::path path = folder / (stem + ".json");
    for (int k = 2; fs::exists(path, ignored); ++k) path = folder / fmt::format("{}-{}.json", stem, k);
    return path;
}

// The process a draft belongs to; 0 for any other file.
pid_t owner_of(const std::string& name) {
    if (!name.starts_with(kDraft)) return 0;
    pid_t pid = 0;
    const char* end = name.data() + name.size();
    const auto [stop, fault] = std::from_chars(name.data() + kDraft.size(), end, pid);
    return fault == std::errc() && std::string_view(stop, static_cast<std::size_t>(end - stop)) == ".json" ? pid : 0;
}

}  // namespace

std::string draft_json(const CoilForm& form) {
    Json j;
    j["schema"] = kDraftSchema;
    j["name"] = form.name;
    j["text"] = Json::object();
    for (const auto& [key, value] : form.text) j["text"][key] = value;
    j["topload_shapes"] = form.topload_shapes;
    j["has"] = Json::object();
    for (const auto& [part, name] : kPartNames) {
        const auto found = form.has.find(part);
        if (found != form.has.end()) j["has"][name] = found->second;
    }
    // Typed text may hold anything; bytes that are no UTF-8 are replaced.
    return j.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<CoilForm> form_from_draft(std::string_view json_text, std::string_view origin) {
    const Json j = Json::parse(json_text, nullptr, false);
    if (!j.is_object() || !j.contains("schema") || j["schema"] != kDraftSchema) {
        return bad_input(fmt::format("{}: not an unfinished description", origin));
    }
    CoilForm form;
    if (const auto name = j.find("name"); name != j.end() && name->is_string()) form.name = name->get<std::string>();
    if (const auto text = j.find("text"); text != j.end() && text->is_object()) {
        for (const auto& [key, value] : text->items()) {
            if (value.is_string() && find_field(key) != nullptr) form.text[key] = value.get<std::string>();
        }
    }
    if (const auto shapes = j.find("topload_shapes"); shapes != j.end() && shapes->is_array()) {
        for (const Json& shape : *shapes) {
            if (form.topload_shapes.size() >= kMostTopLoads || !shape.is_string()) break;
            if (known_shape(shape.get<std::string>())) form.topload_shapes.push_back(shape.get<std::string>());
        }
    }
    if (const auto has = j.find("has"); has != j.end() && has->is_object()) {
        for (const auto& [part, name] : kPartNames) {
            if (const auto on = has->find(name); on != has->end() && on->is_boolean()) form.has[part] = on->get<bool>();
        }
    }
    return form;
}

Result<FileSeen> look_at(const fs::path& path) {
    std::error_code fault;
    const auto status = fs::status(path, fault);
    if (status.type() == fs::file_type::not_found) return FileSeen{};
    if (fault) return bad_input(fmt::format("{}: cannot be looked at; check the name", path.string()));
    const auto sum = record::sha256_of_file(fs::canonical(path, fault));
    if (!sum) return sum.error();
    return FileSeen{sum->sha256};
}

Result<CoilDocument> open_document(const fs::path& path) {
    CoilDocument document;
    document.path = fs::absolute(path).lexically_normal().string();
    // Looked at first: what another program writes in between shows as a change later.
    if (auto seen = look_at(path)) document.seen = *seen;
    auto form = load_form(path);
    if (!form) return form.error();
    document.form = document.saved = std::move(*form);
    return document;
}

CoilDocument new_document(const fs::path& path) {
    CoilDocument document;
    document.form = document.saved = first_form();
    document.path = path.empty() ? std::string() : fs::absolute(path).lexically_normal().string();
    return document;
}

std::string why_not_saved(const CoilForm& form) {
    const FormReading reading = read(form);
    if (!reading.coil) {
        const auto& [key, complaint] = *reading.complaints.begin();
        const FieldSpec* field = find_field(key);
        return field != nullptr ? fmt::format("{}: {}", field->label, complaint) : complaint;
    }
    // The very text that would be written, the very way it will be read.
    const auto back = form_from_json(to_json(form), "the description");
    return back ? std::string() : back.error().message;
}

fs::path draft_path(const fs::path& state_folder) {
    return state_folder / fmt::format("{}{}.json", kDraft, getpid());
}

std::vector<fs::path> recover_drafts(const fs::path& state_folder, const CoilForm& shown) {
    std::vector<fs::path> lost, recovered;
    std::error_code fault;
    for (fs::directory_iterator entry(state_folder, fault), end; !fault && entry != end; entry.increment(fault)) {
        const pid_t owner = owner_of(entry->path().filename().string());
        if (owner <= 0) continue;
        // Our own number on a file that is there already: of a window before us.
        if (owner == getpid() || (kill(owner, 0) != 0 && errno == ESRCH)) lost.push_back(entry->path());
    }
    for (const fs::path& path : lost) {
        const auto form = load_form(path);
        std::error_code ignored;
        if (form && *form == shown) {
            fs::remove(path, ignored);
            continue;
        }
        const fs::path name = aside_path(state_folder);
        fs::rename(path, name, fault);
        if (!fault) recovered.push_back(name);
    }
    return recovered;
}

Result<fs::path> set_draft_aside(const fs::path& state_folder, const CoilForm& form) {
    std::error_code fault;
    fs::create_directories(state_folder, fault);
    if (fault) return bad_input(state_folder.string() + ": cannot be made; save the description first");
    fs::path path = aside_path(state_folder);
    if (const Status written = record::write_file_atomically(path, draft_json(form)); !written) return written.error();
    return path;
}

}  // namespace coldtune::gui
