#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <unordered_set>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/places.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/sha256.hpp"
#include "analyzer/record/utc_time.hpp"

namespace coldtune::book {
namespace {

using record::Json;
using record::ObjectReader;

constexpr int highest_number = 1'000'000;
constexpr std::size_t most_entries = 100'000;  // of each list
constexpr std::int64_t most_bytes = std::int64_t{1} << 40;
// A whole number that a double holds exactly, so that any reader of JSON gets it right.
constexpr std::int64_t highest_count = std::int64_t{1} << 53;

// Each kind of field, with what makes a wrong one wrong.
std::string time_of(ObjectReader& from, std::string_view key) {
    std::string text = from.text(key);
    if (!record::is_utc_time(text)) from.fail(key, "a time like 2026-11-27T10:30:00Z is expected");
    return text;
}

std::string file_of(ObjectReader& from, std::string_view key) {
    std::string name = from.text(key);
    if (!is_plain_file_name(name)) {
        from.fail(key, fmt::format("{} is not the plain name of a kept file", record::in_quotes(name)));
    }
    return name;
}

std::string optional_file(ObjectReader& from, std::string_view key) {
    return from.has(key) ? file_of(from, key) : std::string();
}

std::string sum_of(ObjectReader& from, std::string_view key) {
    std::string sum = from.text(key);
    if (!record::is_sha256(sum)) from.fail(key, "a SHA-256 of 64 hexadecimal digits is expected");
    return sum;
}

Seal seal_in(ObjectReader& from) {
    return from.has("seal") ? sum_of(from, "seal") : Seal();
}

KeptFile kept_file(ObjectReader& from) {
    return {file_of(from, "file"), sum_of(from, "sha256"),
            static_cast<std::uint64_t>(from.integer("bytes", 0, most_bytes))};
}

bench::Hookup hookup_of(ObjectReader& from) {
    const std::string name = from.text("hookup");
    const auto hookup = bench::hookup_from_name(name);
    if (!hookup) from.fail("hookup", fmt::format("{} is no hookup", record::in_quotes(name)));
    return hookup.value_or(bench::Hookup::foot);
}

CoilVersion coil_of(ObjectReader& from) {
    CoilVersion coil;
    coil.number = static_cast<int>(from.integer("number", 1, highest_number));
    coil.added_utc = time_of(from, "added_utc");
    const Json* description = from.whole("description");
    if (description == nullptr) {
        from.miss("description");
        return coil;
    }
    if (const auto parsed = record::parse_coil(record::json_text(*description, -1), "the description"); !parsed) {
        from.fail("description", parsed.error().message);
    }
    coil.description = std::make_shared<const Json>(*description);
    coil.seal = seal_in(from);
    return coil;
}

Interface interface_of(ObjectReader& from) {
    Interface i;
    i.number = static_cast<int>(from.integer("number", 1, highest_number));
    i.device = from.text_or("device", "", 4 * longest_name);
    i.input_resistance_ohm = from.number("input_resistance_ohm", 1e3, 1e12);
    i.input_capacitance_f = from.number("input_capacitance_f", 0, 1e-7);
    i.seal = seal_in(from);
    return i;
}

KeptCapture capture_of(ObjectReader& from) {
    KeptCapture c;
    c.kept = kept_file(from);
    c.hookup = bench::describe(hookup_of(from)).name;
    c.sample_rate_hz = from.number("sample_rate_hz", audio::lowest_capture_rate_hz, audio::highest_capture_rate_hz);
    c.frames = static_cast<std::size_t>(from.integer("frames", 1, std::int64_t{audio::most_capture_frames}));
    c.device = from.text_or("device", "", 4 * longest_name);
    c.recorded_utc = from.has("recorded_utc") ? time_of(from, "recorded_utc") : "";
    c.origin = from.text_or("origin", "", 1000);
    c.origin_sha256 = from.has("origin_sha256") ? sum_of(from, "origin_sha256") : "";
    c.seal = seal_in(from);
    return c;
}

Settings settings_of(ObjectReader& from) {
    Settings s;
    s.reference_ohm = from.number("reference_ohm", 1, 1e7);
    if (from.has("load_ohm")) s.load_ohm = from.number("load_ohm", 1, 1e7);
    if (from.has("period_frames")) {
        s.period_frames = static_cast<std::size_t>(from.integer("period_frames", 64, 1 << 24));
    }
    if (from.has("settle_periods")) {
        s.settle_periods = static_cast<std::size_t>(from.integer("settle_periods", 0, 1000));
    }
    s.coupled = from.boolean_or("coupled", false);
    auto t = from.object("tolerances",
                         {"reference_relative", "load_relative", "input_capacitance_relative", "channel_gain_relative",
                          "channel_phase_rad", "lead_resistance_ohm", "lead_inductance_h", "clock_ppm"});
    if (!t) {
        from.miss("tolerances");
        return s;
    }
    s.tolerances.reference_relative = t->number("reference_relative", 0, 0.5);
    s.tolerances.load_relative = t->number("load_relative", 0, 0.5);
    s.tolerances.input_capacitance_relative = t->number("input_capacitance_relative", 0, 1);
    s.tolerances.channel_gain_relative = t->number("channel_gain_relative", 0, 1);
    s.tolerances.channel_phase_rad = t->number("channel_phase_rad", 0, 1);
    s.tolerances.lead_resistance_ohm = t->number("lead_resistance_ohm", 0, 1e3);
    s.tolerances.lead_inductance_h = t->number("lead_inductance_h", 0, 1e-3);
    s.tolerances.clock_ppm = t->number("clock_ppm", 0, 0.5e6);
    return s;
}

std::optional<ResponseOutline> outline_from(ObjectReader& run) {
    auto from = run.object("response", {"bins", "frequency_hz", "impedance_real_ohm", "impedance_imaginary_ohm",
                                        "standard_deviation_ohm"});
    if (!from) return std::nullopt;
    ResponseOutline r;
    r.bins = static_cast<std::size_t>(from->integer("bins", 1, std::int64_t{audio::most_capture_frames}));
    r.frequency_hz = from->numbers("frequency_hz");
    r.impedance_real_ohm = from->numbers("impedance_real_ohm");
    r.impedance_imaginary_ohm = from->numbers("impedance_imaginary_ohm");
    r.standard_deviation_ohm = from->numbers("standard_deviation_ohm");
    const std::size_t points = r.frequency_hz.size();
    if (points == 0 || points > most_outline_points || points > r.bins || r.impedance_real_ohm.size() != points ||
        r.impedance_imaginary_ohm.size() != points || r.standard_deviation_ohm.size() != points) {
        from->fail("frequency_hz",
                   fmt::format("four arrays of one length from 1 to {} are expected, no longer than bins",
                               most_outline_points));
    }
    for (std::size_t i = 0; i < points && !from->error(); ++i) {
        if (!(r.frequency_hz[i] > 0) || (i > 0 && !(r.frequency_hz[i] > r.frequency_hz[i - 1]))) {
            from->fail("frequency_hz", "frequencies above 0 that rise are expected");
        }
        if (!(r.standard_deviation_ohm[i] >= 0)) from->fail("standard_deviation_ohm", "is negative");
    }
    return r;
}

// Kept whole; what the program itself looks at must be what it takes it for.
KeptJson result_of(ObjectReader& run, bench::Hookup hookup) {
    const Json* result = run.whole("result");
    const auto is = [&](const char* key, std::string_view text) {
        const auto entry = result->find(key);
        return entry != result->end() && *entry == text;
    };
    if (result == nullptr || !result->is_object() || !is("schema", "coldtune.result.v1")) {
        run.fail("result", "a result (schema coldtune.result.v1) is expected");
        return std::make_shared<const Json>(Json::object());
    }
    if (!is("hookup", bench::describe(hookup).name)) run.fail("result", "its hookup is another than the run's");
    const bool known = is("verdict", "good") || is("verdict", "caution") || is("verdict", "rejected");
    if (!known) run.fail("result", "its verdict is none of good, caution, rejected");
    if (is("verdict", "rejected") && result->contains("resonance") && !result->at("resonance").is_null()) {
        run.fail("result", "a rejected measurement has no resonance");
    }
    return std::make_shared<const Json>(*result);
}

Run run_of(ObjectReader& from) {
    Run run;
    run.number = static_cast<int>(from.integer("number", 1, highest_number));
    run.name = from.text("name", 4 * longest_name);
    run.time_utc = time_of(from, "time_utc");
    run.program_version = from.text("program_version");
    run.hookup = hookup_of(from);
    run.coil = from.has("coil") ? static_cast<int>(from.integer("coil", 1, highest_number)) : 0;
    run.interface_number = static_cast<int>(from.integer("interface", 1, highest_number));
    run.capture = file_of(from, "capture");
    if (auto s = from.object("standards", {"open", "short", "load", "shorted"})) {
        run.standards = {optional_file(*s, "open"), optional_file(*s, "short"), optional_file(*s, "load"),
                         optional_file(*s, "shorted")};
    } else {
        from.miss("standards");
    }
    if (auto s = from.object(
            "settings", {"reference_ohm", "load_ohm", "period_frames", "settle_periods", "tolerances", "coupled"})) {
        run.settings = settings_of(*s);
        if (run.settings.coupled && run.hookup != bench::Hookup::foot) s->fail("coupled", "belongs to hookup foot");
        if (!run.standards.load.empty() && run.settings.load_ohm <= 0) s->miss("load_ohm");
    } else {
        from.miss("settings");
    }
    run.result = result_of(from, run.hookup);
    if (auto file = from.object("result_file", {"file", "sha256", "bytes"})) {
        run.result_file = kept_file(*file);
    } else {
        from.miss("result_file");
    }
    run.response = outline_from(from);
    for (ObjectReader& note : from.objects("notes", {"time_utc", "text"})) {
        run.notes.push_back({time_of(note, "time_utc"), note.text("text", 4 * longest_note)});
    }
    run.seal = seal_in(from);
    return run;
}

// Every name used once, every reference answered.
class References {
public:
    bool add_file(const std::string& name) { return files_.insert(name).second; }
    bool add_capture(const std::string& name) { return captures_.insert(name).second && add_file(name); }
    [[nodiscard]] bool captured(const std::string& name) const { return name.empty() || captures_.contains(name); }

private:
    std::unordered_set<std::string> files_, captures_;
};

void check_references(const Book& book, std::vector<ObjectReader>& captures, std::vector<ObjectReader>& runs) {
    References files;
    for (std::size_t i = 0; i < captures.size(); ++i) {
        if (!files.add_capture(book.captures[i].kept.file))
            captures[i].fail("file", "the name stands twice in the book");
    }
    for (std::size_t i = 0; i < runs.size(); ++i) {
        const Run& run = book.runs[i];
        if (i > 0 && run.number <= book.runs[i - 1].number) runs[i].fail("number", "must rise from run to run");
        if (run.number > book.last_run_number) runs[i].fail("number", "is above last_run_number");
        if (run.coil > static_cast<int>(book.coils.size())) runs[i].fail("coil", "there is no such coil version");
        if (run.interface_number > static_cast<int>(book.interfaces.size())) {
            runs[i].fail("interface", "there is no such interface");
        }
        const StandardFiles& s = run.standards;
        for (const std::string& name : {run.capture, s.open, s.short_circuit, s.load, s.shorted}) {
            if (!files.captured(name)) {
                runs[i].fail("capture", fmt::format("{} is not among the captures", record::in_quotes(name)));
            }
        }
        if (!files.add_file(run.result_file.file)) runs[i].fail("result_file", "the name stands twice in the book");
    }
}

// Versions and interfaces are numbered 1, 2, 3 ... as they stand.
template <typename Item>
void check_numbering(const std::vector<Item>& items, std::vector<ObjectReader>& readers) {
    for (std::size_t i = 0; i < items.size(); ++i) {
        if (items[i].number != static_cast<int>(i) + 1) readers[i].fail("number", fmt::format("{} is expected", i + 1));
    }
}

Result<Book> interpret(const Json& json, std::string_view origin) {
    ObjectReader root(json, origin,
                      {"schema", "program_version", "created_utc", "saved_utc", "save_number", "last_run_number",
                       "coils", "interfaces", "captures", "runs"});
    Book book;
    root.text("schema");
    book.program_version = root.text("program_version");
    book.created_utc = time_of(root, "created_utc");
    book.saved_utc = time_of(root, "saved_utc");
    book.save_number = static_cast<std::uint64_t>(root.integer("save_number", 1, highest_count));
    book.last_run_number = static_cast<int>(root.integer("last_run_number", 0, highest_number));
    for (const char* key : {"coils", "interfaces", "captures", "runs"}) {
        const Json* list = root.whole(key);
        if (list == nullptr || !list->is_array()) {
            root.fail(key, "an array is expected");
        } else if (list->size() > most_entries) {
            root.fail(key, fmt::format("{} entries are too many; at most {} are read", list->size(), most_entries));
        }
    }
    if (root.error()) return *root.error();
    auto coils = root.objects("coils", {"number", "added_utc", "description", "seal"});
    for (ObjectReader& coil : coils) book.coils.push_back(coil_of(coil));
    auto interfaces =
        root.objects("interfaces", {"number", "device", "input_resistance_ohm", "input_capacitance_f", "seal"});
    for (ObjectReader& i : interfaces) book.interfaces.push_back(interface_of(i));
    auto captures = root.objects("captures", {"file", "sha256", "bytes", "hookup", "sample_rate_hz", "frames", "device",
                                              "recorded_utc", "origin", "origin_sha256", "seal"});
    for (ObjectReader& capture : captures) book.captures.push_back(capture_of(capture));
    auto runs =
        root.objects("runs", {"number", "name", "time_utc", "program_version", "hookup", "coil", "interface", "capture",
                              "standards", "settings", "result", "result_file", "response", "notes", "seal"});
    book.runs.reserve(runs.size());
    for (ObjectReader& run : runs) {
        if (root.error()) break;
        book.runs.push_back(run_of(run));
    }
    if (root.error()) return *root.error();
    check_numbering(book.coils, coils);
    check_numbering(book.interfaces, interfaces);
    check_references(book, captures, runs);
    if (root.error()) return *root.error();
    return book;
}

// "coldtune.book.v12" is 12; 0 for any other schema.
long version_in(const Json& json) {
    constexpr std::string_view stem = "coldtune.book.v";
    if (!json.is_object()) return 0;
    const auto schema = json.find("schema");
    if (schema == json.end() || !schema->is_string()) return 0;
    const auto& text = schema->get_ref<const std::string&>();
    if (!text.starts_with(stem) || text.size() > stem.size() + 6) return 0;
    long version = 0;
    for (const char c : text.substr(stem.size())) {
        if (c < '0' || c > '9') return 0;
        version = 10 * version + (c - '0');
    }
    return version;
}

}  // namespace

std::variant<Book, NoBook> parse_book(std::string_view text, std::string_view origin) {
    const auto damaged = [](const Error& error) { return NoBook{NoBook::Why::damaged, error.message}; };
    const auto json = record::parse_json(text, origin, {longest_book_bytes, 32, most_book_values});
    if (!json) return damaged(json.error());
    const std::string name = record::one_line(origin, 200);
    const long version = version_in(*json);
    if (version > 1) {
        return NoBook{NoBook::Why::foreign,
                      fmt::format("{}: written by a later version of the program (book format {}, this one reads 1); "
                                  "nothing was touched, open it with that version",
                                  name, version)};
    }
    if (version != 1) {
        return NoBook{NoBook::Why::foreign,
                      fmt::format("{}: is no bench book (schema {}); name the book's file", name, book_schema)};
    }
    auto book = interpret(*json, origin);
    if (!book) return damaged(book.error());
    return std::move(*book);
}

}  // namespace coldtune::book
