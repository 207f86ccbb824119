#include "analyzer/measure/long_capture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/measure/evidence.hpp"
#include "analyzer/record/plain_text.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/fft.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t kLeastPeriods = 4;  // in a piece, so that each piece tells its own noise
constexpr std::size_t kGroups = 16;       // their scatter is the uncertainty: 15 degrees of freedom for each line

// Sums of one group's responses, line by line (line k is k periods in one period).
struct CaptureLine {
    Complex ratio;
    double generator_amplitude = 0;
    std::size_t pieces = 0;
};

class Condenser {
public:
    Condenser(bench::Hookup hookup, std::size_t period, std::uint64_t pieces)
        : hookup_(hookup), period_(period), pieces_(pieces) {
        groups_.resize(static_cast<std::size_t>(std::min<std::uint64_t>(kGroups, pieces)));
        for (Group& group : groups_) group.lines.resize(period / 2 + 1);
    }

    void add(std::uint64_t piece, const dsp::Response& response, const dsp::CaptureHealth& health, double from_s) {
        auto& group = groups_[static_cast<std::size_t>(piece * groups_.size() / pieces_)];
        ++group.pieces;
        for (std::size_t i = 0; i < response.frequency_hz.size(); ++i) {
            const double line = response.frequency_hz[i] * static_cast<double>(period_) / response.sample_rate_hz;
            CaptureLine& sum = group.lines[static_cast<std::size_t>(std::lround(line))];
            sum.ratio += response.ratio[i];
            sum.generator_amplitude += response.generator_amplitude[i];
            ++sum.pieces;
        }
        periods_ += response.averages;
        if (response.clock_drift_ppm) {
            drift_sum_ += *response.clock_drift_ppm;
            ++drifts_;
        }
        for (Finding& f : judge_signal(health, &response, hookup_)) {
            const auto same = [&](const Finding& known) { return known.code == f.code && known.weight == f.weight; };
            if (std::any_of(findings_.begin(), findings_.end(), same)) continue;
            f.text = fmt::format("from {:.0f} s on: {}", from_s, f.text);
            findings_.push_back(std::move(f));
        }
    }

    // nullopt: less than two groups, or no line that all of them have.
    std::optional<CondensedCapture> finish(double sample_rate_hz) {
        std::erase_if(groups_, [](const Group& group) { return group.pieces == 0; });
        if (groups_.size() < 2) return std::nullopt;
        std::vector<std::size_t> common;
        for (std::size_t line = 1; line <= period_ / 2; ++line) {
            const bool everywhere = std::all_of(groups_.begin(), groups_.end(), [line](const Group& group) {
                return group.lines[line].pieces == group.pieces;
            });
            if (everywhere) common.push_back(line);
        }
        if (common.empty()) return std::nullopt;
        CondensedCapture made;
        made.period_frames = period_;
        made.periods = periods_;
        if (drifts_ > 0) made.clock_drift_ppm = drift_sum_ / static_cast<double>(drifts_);
        made.findings = std::move(findings_);
        made.file.capture.sample_rate_hz = sample_rate_hz;
        write_periods(common, made.file.capture);
        return made;
    }

private:
    struct Group {
        std::vector<CaptureLine> lines;  // of period / 2 + 1
        std::size_t pieces = 0;
    };

    // The same generator in every period, the coil as each group has it.
    void write_periods(const std::vector<std::size_t>& lines, dsp::TwoChannelCapture& capture) const {
        dsp::RealFft fft(period_);
        std::vector<double> amplitude(lines.size(), 0.0);
        for (const Group& group : groups_) {
            for (std::size_t i = 0; i < lines.size(); ++i) {
                const CaptureLine& sum = group.lines[lines[i]];
                amplitude[i] += sum.generator_amplitude / static_cast<double>(sum.pieces * groups_.size());
            }
        }
        const double half = static_cast<double>(period_) / 2;  // a line of amplitude 1 in transform units
        const auto put = [&](std::vector<double>& channel, auto value_of) {
            std::fill(fft.spectrum().begin(), fft.spectrum().end(), Complex{});
            for (std::size_t i = 0; i < lines.size(); ++i) {
                // Phases that keep the peak low (Schroeder 1970, for a flat spectrum).
                const double x = static_cast<double>(i);
                const double phase = -std::numbers::pi * x * x / static_cast<double>(lines.size());
                fft.spectrum()[lines[i]] = value_of(i) * std::polar(amplitude[i] * half, phase);
            }
            fft.inverse();
            channel.insert(channel.end(), fft.time().begin(), fft.time().end());
        };
        for (const Group& group : groups_) {
            put(capture.generator, [](std::size_t) { return Complex{1}; });
            put(capture.coil, [&](std::size_t i) {
                const CaptureLine& sum = group.lines[lines[i]];
                return sum.ratio / static_cast<double>(sum.pieces);
            });
        }
    }

    bench::Hookup hookup_;
    std::size_t period_;
    std::uint64_t pieces_;
    std::vector<Group> groups_;
    std::size_t periods_ = 0, drifts_ = 0;
    double drift_sum_ = 0;
    std::vector<Finding> findings_;
};

}  // namespace

bool is_long_capture(const std::filesystem::path& path) {
    const auto reader = audio::CaptureReader::open(path);
    return reader.ok() && reader->frames() > audio::most_capture_frames;
}

Result<CondensedCapture> condense(const std::filesystem::path& path, bench::Hookup hookup,
                                  std::optional<std::size_t> period_frames, std::optional<std::size_t> settle_periods,
                                  std::size_t piece_frames_at_most) {
    const std::string name = record::one_line(path.string(), 200);
    auto reader = audio::CaptureReader::open(path);
    if (!reader) return reader.error();
    const auto& note = reader->note();
    const std::size_t period = period_frames.value_or(note ? note->period_frames : 0);
    if (period == 0) {
        return bad_input(
            fmt::format("{}: {} frames are too many to hold, and without a known period they cannot be averaged; state "
                        "the frames of its period, or cut it to {}",
                        name, reader->frames(), audio::most_capture_frames));
    }
    if (period > piece_frames_at_most / kLeastPeriods) {
        return bad_input(
            fmt::format("{}: a capture this long is read in pieces of {} frames, too few for periods of {}; "
                        "cut it to {} frames",
                        name, piece_frames_at_most, period, audio::most_capture_frames));
    }
    const std::size_t piece_frames = piece_frames_at_most / period * period;
    Condenser condenser(hookup, period, (reader->frames() + piece_frames - 1) / piece_frames);
    bool begun = false;
    std::optional<Error> gap;    // a piece without response; only silence may follow it
    std::optional<Error> never;  // why none has begun
    for (std::uint64_t piece = 0;; ++piece) {
        const auto samples = reader->next(piece_frames);
        if (!samples) return samples.error();
        if (samples->frames() == 0) break;
        const double from_s = static_cast<double>(piece * piece_frames) / reader->sample_rate_hz();
        const bool sounds = dsp::find_signal_start(samples->generator).has_value();
        if (!sounds && !begun) continue;
        if (!sounds) {
            gap = bad_input(fmt::format("{}: silent from {:.0f} s on and then not; cut it there", name, from_s));
            continue;
        }
        if (gap) return *gap;
        dsp::PeriodicOptions options;
        options.period_frames = period;
        options.settle_periods = settle_periods.value_or(note ? std::max<std::size_t>(1, note->settle_periods) : 1);
        if (begun) options.first_frame = 0;
        const auto response = dsp::periodic_response(*samples, options);
        if (!response) {
            // What is left at either end may be too short for a period; in between, or everywhere, it is a fault.
            const Error fault =
                bad_input(fmt::format("{}: from {:.0f} s on: {}", name, from_s, response.error().message));
            std::optional<Error>& kept = begun ? gap : never;
            if (!kept) kept = fault;
            continue;
        }
        begun = true;
        condenser.add(piece, *response, dsp::examine(*samples, period, &*response), from_s);
    }
    if (!begun && never) return *never;
    auto made = condenser.finish(reader->sample_rate_hz());
    if (!made) {
        return bad_input(
            fmt::format("{}: fewer than two pieces of {} frames hold the signal throughout; cut it to {} "
                        "frames around the signal",
                        name, piece_frames, audio::most_capture_frames));
    }
    made->file.note = note;
    return std::move(*made);
}

Result<MeasurementResult> analyze_condensed(AnalysisRequest request, CondensedCapture capture) {
    request.coil = std::move(capture.file);
    request.period_frames = capture.period_frames;
    request.settled = true;
    // The drift is gone from the condensed capture, and not from what is known of the clocks: the two lines of the
    // budget, added in quadrature.
    if (capture.clock_drift_ppm && std::abs(*capture.clock_drift_ppm) >= notable_drift_ppm) {
        request.tolerances.clock_ppm = std::hypot(request.tolerances.clock_ppm, *capture.clock_drift_ppm);
    }
    auto result = analyze(request);
    if (!result) return result;
    for (Finding& f : capture.findings) result->findings.push_back(std::move(f));
    if (result->verdict() == Verdict::rejected) {
        result->outcome = Rejected{};
        result->fitted = {};
    }
    result->averages = capture.periods;
    result->clock_drift_ppm = capture.clock_drift_ppm;
    return result;
}

}  // namespace coldtune::measure
