// The window's runs and standards in a bench book (analyzer/book), on a thread of its own: nothing here is waited for
// by the drawing one.
//
// The book is opened for each piece of work and let go again, so that two windows and the command line program share
// one. Work is done in the order it was asked for; what is left when the window closes is done before it ends.
#pragma once

#include <chrono>
#include <condition_variable>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <stop_token>
#include <string>
#include <thread>
#include <variant>
#include <vector>

#include "analyzer/book/book_file.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

using Capture = std::shared_ptr<const audio::CaptureFile>;

// Beside the coil's file, heron.json to heron-book.json; without one in the state folder.
std::filesystem::path book_path(const std::string& coil_path, const std::filesystem::path& state_folder);

struct OpenBook {
    dsp::BenchValues bench;  // to read its standards with; the reference resistor is the standard's own
    std::vector<std::string> forgotten;
};
struct KeepRun {
    int id = 0;
    std::string note;
    bench::Hookup hookup = bench::Hookup::foot;
    Capture capture, shorted;
    std::map<bench::Hookup, Capture> standards;
    dsp::BenchValues bench;
    bool coupled = false;
    std::string coil;  // COIL.json as it was measured; "" = none to compare with
};
struct KeepStandard {
    bench::Hookup hookup = bench::Hookup::open;
    Capture capture;
};
struct RemoveRun {
    int number = 0;
};
// What this window removed.
struct PutBackRun {
    int number = 0;
};
struct NoteRun {
    int number = 0;
    std::string text;
};
struct LoadCurve {
    int number = 0;
};
// The whole book under another name, which must be free.
struct CopyBook {
    std::filesystem::path to;
    bool remove_from = false;
};
struct BookWork {
    std::filesystem::path book;
    std::variant<OpenBook, KeepRun, KeepStandard, RemoveRun, PutBackRun, NoteRun, LoadCurve, CopyBook> what;
};

struct OpenedReport {
    std::vector<Run> runs;  // without curves but the last one's
    std::map<bench::Hookup, StandardTaken> standards;
    int last_number = 0;
    std::string notice;  // of a book that was damaged
};
struct KeptReport {
    int number = 0;
};
struct StandardReport {
    std::string sha256;
};
struct CurveReport {
    std::shared_ptr<const measure::Curve> measured, fitted;
};
using BookOutcome = std::variant<std::monostate, OpenedReport, KeptReport, StandardReport, CurveReport>;
struct BookReport {
    BookWork work;
    std::string complaint;  // "" = it is done
    BookOutcome outcome;
};

class RunKeeper {
public:
    explicit RunKeeper(std::function<void()> wake);
    ~RunKeeper();  // does what is left
    RunKeeper(const RunKeeper&) = delete;
    RunKeeper& operator=(const RunKeeper&) = delete;

    void ask(BookWork work);
    // Written a little later, once: it is typed letter by letter.
    void note(const std::filesystem::path& book, int number, std::string text);
    std::vector<BookReport> take_reports();

private:
    using Steady = std::chrono::steady_clock;
    using Outcome = Result<BookOutcome>;
    struct WaitingNote {
        std::string text;
        Steady::time_point due;
    };
    void loop(const std::stop_token& quit);
    Outcome carry_out(const BookWork& work);
    Outcome open(const std::filesystem::path& book, const OpenBook& work);
    Outcome keep(const std::filesystem::path& book, const KeepRun& work);
    Outcome keep(const std::filesystem::path& book, const KeepStandard& work);
    Outcome load(const std::filesystem::path& book, const LoadCurve& work);
    Outcome copy(const std::filesystem::path& book, const CopyBook& work);
    Outcome change(const BookWork& work);
    // The kept name of a capture, brought in if the book has it not.
    Result<std::string> kept_name(book::BookFile& file, const Capture& capture, bench::Hookup hookup);

    const std::function<void()> wake_;
    std::mutex mutex_;
    std::condition_variable_any changed_;
    std::deque<BookWork> waiting_;
    std::map<std::pair<std::filesystem::path, int>, WaitingNote> notes_;
    std::vector<BookReport> reports_;
    // Of the thread alone.
    std::map<std::weak_ptr<const audio::CaptureFile>, std::string, std::owner_less<>> names_;
    std::filesystem::path names_of_;
    std::map<std::pair<std::filesystem::path, int>, book::Run> removed_;
    std::jthread thread_;
};

}  // namespace coldtune::gui
