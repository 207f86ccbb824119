// Sweep after sweep in one process, with faults thrown in at random: nothing leaks, nothing hangs, every good sweep is
// right and no broken one gives a recording. Twelve sweeps here; COLDTUNE_SOAK_SWEEPS=1000 for the whole of it.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <memory>
#include <optional>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"
#include "tests/support/jack_server.hpp"
#include "tests/support/live_rig.hpp"

namespace coldtune::testing {
namespace {

constexpr double kReference_ohm = 10e3, kInductance_h = 0.060;
// Those of measure_live_test: the aim of the live measurement.
constexpr double kFrequencyBound = 200e-6, kQBound = 0.02;
// Once everything has been used a few times, memory may wander by what the allocator keeps: 1,000 sweeps of half a
// second at 96 kHz would be 1.5 GB if a recording leaked, and 8 kB a sweep is 8 MB.
constexpr double kGrowth_mb = 8;

double resident_mb() {
    std::ifstream statm("/proc/self/statm");
    double pages = 0, resident = 0;
    statm >> pages >> resident;
    return resident * static_cast<double>(sysconf(_SC_PAGESIZE)) / 1e6;
}

std::ptrdiff_t count_in(const std::string& folder) {
    return std::distance(std::filesystem::directory_iterator(folder), std::filesystem::directory_iterator());
}

struct Fault {
    const char* option;
    bool hangs;         // the client listens to nothing any more
    bool takes_server;  // the next sweep needs another: a client that dies leaves it faster than time
};
constexpr Fault kFaults[] = {{"--die-after", false, true},
                             {"--mute-after", false, false},
                             {"--stall-after", true, true},
                             {"--kill-after", false, true}};

std::vector<std::string> coil_arguments(double frequency_hz, double q, int seed) {
    return {"--freewheel",
            "--frequency",
            fmt::format("{}", frequency_hz),
            "--q",
            fmt::format("{}", q),
            "--resistance",
            fmt::format("{}", 2 * M_PI * frequency_hz * kInductance_h / q),
            "--input-r",
            "1e6",
            "--input-c",
            "150e-12",
            "--noise-dbfs",
            "-100",
            "--seed",
            fmt::format("{}", seed)};
}

class Soak {
public:
    explicit Soak(int sweeps) : sweeps_(sweeps) {}

    void run() {
        for (int i = 0; i < sweeps_; ++i) {
            SCOPED_TRACE(fmt::format("sweep {}", i));
            if (!server_) server_.emplace(ServerOptions{.rate_hz = 96000});
            // Three in five are left alone.
            if (std::uniform_int_distribution<int>(0, 4)(random_) < 3) {
                good(i);
            } else {
                broken(i, kFaults[std::uniform_int_distribution<std::size_t>(0, std::size(kFaults) - 1)(random_)]);
            }
            if (::testing::Test::HasFatalFailure()) return;
            // What is used for the first time comes into memory once.
            if (i == std::max(4, sweeps_ / 20)) {
                early_mb_ = resident_mb();
                early_files_ = count_in("/proc/self/fd");
                early_threads_ = count_in("/proc/self/task");
            }
        }
        server_.reset();
        server_.emplace(ServerOptions{.rate_hz = 96000});  // as it was when the early figures were taken
        const double grown_mb = resident_mb() - early_mb_;
        std::cout << fmt::format(
            "{} sweeps, {} of them broken: memory {:+.1f} MB, worst {:.1f} ppm and {:.2f} % of Q, slowest notice of a "
            "fault {:.2f} s, {} repeated, audio server started again {} times\n",
            sweeps_, broken_, grown_mb, 1e6 * worst_frequency_, 100 * worst_q_, slowest_s_, repeated_, restarted_);
        EXPECT_LT(grown_mb, kGrowth_mb);
        EXPECT_LE(repeated_, 1 + sweeps_ / 50);
        EXPECT_LE(restarted_, sweeps_ / 200);
        EXPECT_LE(count_in("/proc/self/fd"), early_files_ + 4) << "files are left open";
        EXPECT_LE(count_in("/proc/self/task"), early_threads_) << "threads are left over";
    }

private:
    Result<measure::SessionRecord> sweep(const JackCoil& coil) {
        measure::SessionSettings settings;
        settings.device = coil.name();
        settings.sample_rate_hz = coil.rate_hz();
        settings.bench.reference_ohm = kReference_ohm;
        settings.bench.input_resistance_ohm = 1e6;
        settings.bench.input_capacitance_f = 150e-12;
        settings.period_frames = 32768;
        settings.periods = 3;
        const auto port = audio::make_portaudio_port();
        return run_session(*port, settings, {}, {});
    }

    // Starting the client is no part of what is tried; on a crowded machine it is given a second chance.
    static std::unique_ptr<JackCoil> coil_of(const std::vector<std::string>& arguments) {
        try {
            return std::make_unique<JackCoil>(arguments);
        } catch (const std::runtime_error&) {
            return std::make_unique<JackCoil>(arguments);
        }
    }

    void good(int i) {
        const double f = std::uniform_real_distribution<double>(8e3, 40e3)(random_);
        const double q = std::uniform_real_distribution<double>(20, 60)(random_);
        auto client = coil_of(coil_arguments(f, q, i));
        for (int attempt = 0;; ++attempt) {
            const JackCoil& coil = *client;
            auto record = sweep(coil);
            if (!record && attempt == 0 && record.error().kind == ErrorKind::device) {
                // A server that starves among other work turns a client away (seen once in 280 sweeps beside twenty
                // busy processes); the program says so and the next sweep works.
                std::cout << record.error().message << '\n';
                ++repeated_;
                continue;
            }
            if (!record && attempt == 1 && record.error().kind == ErrorKind::device) {
                // Told twice that the server hangs: the user does what the message says and starts it again. Only the
                // server is new; this process and what it holds go on (seen once in 850 sweeps on a crowded machine).
                std::cout << record.error().message << '\n';
                client.reset();
                server_.reset();
                server_.emplace(ServerOptions{.rate_hz = 96000});
                client = coil_of(coil_arguments(f, q, i));
                ++restarted_;
                continue;
            }
            ASSERT_TRUE(record) << record.error().message;
            measure::AnalysisRequest request;
            request.hookup = bench::Hookup::foot;
            request.coil = std::move(record->capture);
            request.bench.reference_ohm = kReference_ohm;
            request.bench.input_resistance_ohm = 1e6;
            request.bench.input_capacitance_f = 150e-12;
            const auto result = analyze(request);
            ASSERT_TRUE(result) << result.error().message;
            const measure::Resonance* r = result->resonance();
            // A server faster than time on a busy machine loses frames now and then, and the program says so.
            if (r == nullptr && attempt == 0 &&
                std::any_of(result->findings.begin(), result->findings.end(),
                            [](const auto& finding) { return finding.code == measure::FindingCode::dropout; })) {
                ++repeated_;
                continue;
            }
            ASSERT_NE(r, nullptr);
            const double off = std::abs(r->frequency_hz / coil.frequency_hz() - 1);
            const double q_off = std::abs(*r->q / coil.q() - 1);
            EXPECT_LT(off, kFrequencyBound);
            EXPECT_LT(q_off, kQBound);
            worst_frequency_ = std::max(worst_frequency_, off);
            worst_q_ = std::max(worst_q_, q_off);
            return;
        }
    }

    void broken(int i, const Fault& fault) {
        ++broken_;
        SCOPED_TRACE(fault.option);
        auto arguments = coil_arguments(20e3, 40, i);
        for (const std::string& more :
             {std::string(fault.option), fmt::format("{}", std::uniform_real_distribution<double>(0.1, 0.6)(random_)),
              std::string("--kill-pid"), std::to_string(server_->pid())}) {
            arguments.push_back(more);
        }
        const auto client = coil_of(arguments);
        JackCoil& coil = *client;
        const auto record = sweep(coil);
        const double seconds = coil.tape().since_fault_s();
        EXPECT_FALSE(record) << "a recording of a broken sweep";
        if (!record) {
            EXPECT_EQ(record.error().kind, ErrorKind::device) << record.error().message;
        }
        EXPECT_GE(seconds, 0) << "nothing was broken";
        EXPECT_LT(seconds, 2);  // as in portaudio_port_test
        slowest_s_ = std::max(slowest_s_, seconds);
        if (fault.hangs) coil.process().signal(SIGKILL);
        if (fault.takes_server) server_.reset();
    }

    int sweeps_, broken_ = 0, repeated_ = 0, restarted_ = 0;
    std::mt19937_64 random_{2718};
    std::optional<JackServer> server_;
    double early_mb_ = 0, worst_frequency_ = 0, worst_q_ = 0, slowest_s_ = 0;
    std::ptrdiff_t early_files_ = 0, early_threads_ = 0;
};

TEST(LiveSoak, NothingLeaksAndNothingHangs) {
    const char* asked = std::getenv("COLDTUNE_SOAK_SWEEPS");
    const int sweeps = asked != nullptr ? std::atoi(asked) : 12;
    ASSERT_GE(sweeps, 10);
    Soak(sweeps).run();
}

}  // namespace
}  // namespace coldtune::testing
