// coldtune measure: sweep, record, analyse, keep the capture.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <filesystem>
#include <memory>

#include "analyzer/cli/bench_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/keep_options.hpp"
#include "analyzer/cli/measure_sweeps.hpp"
#include "analyzer/cli/output_target.hpp"
#include "analyzer/cli/port_options.hpp"
#include "analyzer/cli/rescue.hpp"
#include "analyzer/cli/result_output.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"

namespace coldtune::cli {
namespace {

struct MeasureOptions {
    PortOptions port;
    BenchOptions bench;
    std::size_t periods = 0;
    bool with_short = false, replace = false;
    std::string out_path;
    KeepOptions keep;
    OutputOptions output;
};

// With one input the standards are part of the measurement.
Status check_one_input(const MeasureOptions& o) {
    if (!o.bench.one_input) {
        if (o.with_short) return usage_error("--with-short belongs to --one-input");
        return Done{};
    }
    if (!o.bench.open_path.empty() || !o.bench.short_path.empty() || !o.bench.load_path.empty()) {
        return usage_error(
            "with --one-input the standards are swept in the same stream; leave out --open, --short and --load");
    }
    if (o.out_path.empty()) return usage_error("--one-input writes the standards beside --out FILE; name it");
    if (!(o.bench.load_ohm >= 1 && o.bench.load_ohm <= 1e7)) {
        return usage_error("--one-input needs --load-value: the resistor you will clip on as the load standard");
    }
    return Done{};
}

// A reader that goes away (`| head`) ends a program at its next word. A sweep goes on to where its capture is kept.
class ReaderMayLeave {
public:
    ReaderMayLeave() : before_(std::signal(SIGPIPE, SIG_IGN)) {}
    ~ReaderMayLeave() { (void)std::signal(SIGPIPE, before_ == SIG_ERR ? SIG_DFL : before_); }
    ReaderMayLeave(const ReaderMayLeave&) = delete;
    ReaderMayLeave& operator=(const ReaderMayLeave&) = delete;

private:
    void (*before_)(int);
};

// A sweep whose capture cannot be kept would be for nothing.
Status check_out(const MeasureOptions& o) {
    const std::string& path = o.out_path;
    const std::filesystem::path out = path;
    if (out.extension() != ".wav" && out.extension() != ".flac") {
        return usage_error(fmt::format("--out {}: name a .wav or a .flac file", path));
    }
    if (out.has_parent_path() && !std::filesystem::is_directory(out.parent_path())) {
        return bad_input(fmt::format("--out {}: there is no folder {}; make it first or name another", path,
                                     out.parent_path().string()));
    }
    for (const std::string& standard : {o.bench.open_path, o.bench.short_path, o.bench.load_path}) {
        std::error_code none;
        if (!standard.empty() && std::filesystem::equivalent(out, standard, none)) {
            return usage_error(fmt::format("--out {} is a standard of this measurement; name another file", path));
        }
    }
    std::vector<std::filesystem::path> targets = {out};
    if (o.bench.one_input) {
        targets.push_back(standard_path(out, bench::Hookup::open));
        targets.push_back(standard_path(out, bench::Hookup::load));
        if (o.with_short) targets.push_back(standard_path(out, bench::Hookup::short_circuit));
    }
    for (const std::filesystem::path& target : targets) {
        if (const Status free = check_sound_target(target.string(), o.replace); !free) return free;
    }
    return Done{};
}

ExitCode analyse(measure::AnalysisRequest& request, audio::CaptureFile capture, const MeasureOptions& o,
                 Console& console) {
    request.coil = std::move(capture);
    const auto result = measure::analyze(request);
    if (!result) return console.fail("measure", result.error());
    return print_result(console, "measure", *result, o.output);
}

// From the file if it could be written, so that the book knows where the capture came from.
ExitCode keep_in_book(book::BookFile& file, book::NewRun run, measure::AnalysisRequest& request,
                      audio::CaptureFile capture, const MeasureOptions& o, bool in_file, Console& console) {
    const std::string_view hookup = bench::describe(run.hookup).name;
    std::filesystem::path recording;
    if (in_file) {
        run.capture = std::filesystem::path(o.out_path);
    } else {
        run.capture = capture;
    }
    const auto added = book::add_run(file, std::move(run), &recording);
    if (!added) {
        const Error error =
            in_file || !recording.empty() ? added.error() : rescued(added.error(), capture, hookup, rescue_folders());
        // The number was earned; a full disk must not hide it, nor be hidden by it.
        analyse(request, std::move(capture), o, console);
        return console.fail("measure", error);
    }
    const ExitCode kept = save_and_say(console, "measure", file, *added);
    const ExitCode code = print_result(console, "measure", added->result, o.output);
    return kept != ExitCode::done ? kept : code;
}

// Whether the disks have room for what the sweep will give.
Status check_disks(const MeasureOptions& o, const measure::SessionSettings& settings, const book::BookFile* book) {
    const std::size_t captures = o.bench.one_input ? (o.with_short ? 4 : 3) : 1;
    std::vector<Need> needs;
    if (!o.out_path.empty()) {
        const auto bytes = bytes_of_session(settings, captures, false);
        if (!bytes) return bytes.error();
        needs.push_back({std::filesystem::path(o.out_path).parent_path(), *bytes});
    }
    if (book != nullptr) {
        const auto bytes = bytes_of_session(settings, captures, true);
        if (!bytes) return bytes.error();
        std::error_code none;
        const std::uintmax_t text = std::filesystem::file_size(book->places().book, none);
        needs.push_back({book->places().book.parent_path(), *bytes + (none ? 0 : text)});
    }
    return check_room(needs);
}

// What the sweeps of one input gave beside the coil's; one that cannot be written is kept elsewhere, named so, and
// said.
ExitCode write_standards(measure::AnalysisRequest& request, const Console& console) {
    ExitCode code = ExitCode::done;
    for (auto* standard : {&request.open, &request.load, &request.short_circuit}) {
        if (!*standard) continue;
        const Status written = write_by_extension((*standard)->name, (*standard)->file);
        if (written) continue;
        std::filesystem::path kept;
        const std::string hookup = (*standard)->file.note ? (*standard)->file.note->hookup : "standard";
        code = console.fail("measure", rescued(written.error(), (*standard)->file, hookup, rescue_folders(), &kept));
        if (!kept.empty()) (*standard)->name = kept.string();
    }
    return code;
}

ExitCode run(const MeasureOptions& o, Console& console) {
    const ReaderMayLeave sweep_goes_on;
    auto request = make_request(o.bench);
    if (!request) return console.fail("measure", request.error());
    // Before anything sounds.
    if (o.out_path.empty() && o.keep.book_path.empty()) {
        return console.fail("measure", usage_error("say where the capture goes: --out FILE, --book BOOK.json or both"));
    }
    if (!o.out_path.empty()) {
        if (const Status sound = check_out(o); !sound) return console.fail("measure", sound.error());
    }
    if (auto status = check_one_input(o); !status) return console.fail("measure", status.error());
    std::optional<book::NewRun> new_one;
    std::optional<book::BookFile> book;
    if (!o.keep.book_path.empty()) {
        auto made = new_run(o.bench, o.keep);
        if (!made) return console.fail("measure", made.error());
        new_one = std::move(*made);
        auto opened = open_book(console, "measure", o.keep.book_path);
        if (!opened) return console.fail("measure", opened.error());
        book = std::move(*opened);
    }
    auto port = open_port(o.port, request->hookup);
    if (!port) return console.fail("measure", port.error());
    auto settings = session_settings(o.port, *request, **port);
    if (!settings) return console.fail("measure", settings.error());
    if (o.periods > 0) settings->periods = o.periods;
    if (const Status room = check_disks(o, *settings, book ? &*book : nullptr); !room)
        return console.fail("measure", room.error());
    show_cautions(console, o.port, request->hookup);

    const Status swept = o.bench.one_input
                             ? sweep_one_input(**port, *settings, o.with_short, o.out_path, console, *request)
                             : sweep_two_inputs(**port, *settings, console, *request);
    if (!swept) return console.fail("measure", swept.error());
    const ExitCode standards = o.bench.one_input ? write_standards(*request, console) : ExitCode::done;
    if (o.bench.one_input && new_one) {
        new_one->open = request->open->name;
        new_one->load = request->load->name;
        if (request->short_circuit) new_one->short_circuit = request->short_circuit->name;
    }
    audio::CaptureFile capture = std::move(request->coil);
    Status written = o.out_path.empty() ? Status(Done{}) : write_by_extension(o.out_path, capture);
    const bool in_file = !o.out_path.empty() && written.ok();
    if (!written && !book) {
        written = rescued(written.error(), capture, bench::describe(request->hookup).name, rescue_folders());
    }
    const ExitCode code =
        book ? keep_in_book(*book, std::move(*new_one), *request, std::move(capture), o, in_file, console)
             : analyse(*request, std::move(capture), o, console);
    if (!written) return console.fail("measure", written.error());
    return standards != ExitCode::done ? standards : code;
}

}  // namespace

Command add_measure(CLI::App& root) {
    auto o = std::make_shared<MeasureOptions>();
    CLI::App* app = root.add_subcommand("measure", "Sweep the coil and find its resonance and Q");
    add_port_options(*app, o->port, "Frames in one period (default: about 2/3 s, longer for a narrow resonance)");
    add_bench_options(*app, o->bench);
    add_coupled_flag(*app, o->bench);
    app->add_option("--periods", o->periods, "Periods of the final sweep, the first settles")
        ->check(CLI::Range(2, 1000));
    app->add_flag("--one-input", o->bench.one_input,
                  "The interface has one input (--coil-input): open, load and coil are swept in one open stream");
    app->add_flag("--with-short", o->with_short, "With --one-input: sweep the short standard as well");
    app->add_option("--out", o->out_path, "Capture to write, .wav or .flac; may be left out with --book")
        ->type_name("FILE");
    app->add_flag("--replace", o->replace, "Write over an existing --out file");
    add_book_option(*app, o->keep);
    add_output_options(*app, o->output);
    return {app, [o](Console& console) { return run(*o, console); }};
}

}  // namespace coldtune::cli
