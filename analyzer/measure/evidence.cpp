#include "analyzer/measure/evidence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "analyzer/measure/standard_check.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

// Limits of judgement. None has a published source; each says what it protects.
constexpr double kNothingDbfs = -200;   // below the last bit of any file
constexpr double kQuietPeakDbfs = -60;  // under this a 16-bit interface has about 10 usable bits less than it could
constexpr double kReferenceSignalToNoise = 10;  // per bin, amplitude: a ratio with 10 % error is no reference
constexpr double kHumCautionDb = -20;           // hum a tenth of the signal eats headroom and hides in the first bins
constexpr double kDriftCautionPpm = 100;  // no pair of healthy crystals differs by more (common practice, no source)
constexpr double kDriftRejectPpm = 400;   // beyond what the drift estimate can follow without ambiguity
constexpr double kDistortionCautionDb = -55;  // interfaces stay below -80 (common practice, no source)
constexpr double kDistortionRejectDb = -20;
constexpr double kUnsteadyCautionSigma = 4;  // noise alone gives 1 to 1.6
constexpr double kLevelCaution = 0.01;       // converters hold their gain to 0.1 % (common practice, no source)
constexpr double kSettlingCaution = 0.03;    // the same in the first period, where an output may still be unmuting

// Capacitance against frequency, C(f) = c0 + c2 f^2 by weighted least squares on Im(Y)/w. Below its first resonance a
// coil shows c2 > 0 (its own capacitance seen through its inductance); a bare lead shows none.
struct ApparentCapacitance {
    double c0_f = 0;
    double rise_f = 0;        // c2 * f_high^2
    double rise_sigma_f = 0;  // its standard deviation, from the data's noise and misfit together
    double loss_f = 0;        // conductance over omega, the same weights: a resistor shows here
};

ApparentCapacitance apparent_capacitance(const dsp::CorrectedResponse& data) {
    ApparentCapacitance out;
    const std::size_t n = data.frequency_hz.size();
    if (n < 8) return out;
    const double f_high = data.frequency_hz.back();
    double s0 = 0, s1 = 0, s2 = 0, t0 = 0, t1 = 0;
    double loss = 0;
    std::vector<double> c(n), w(n), x(n);
    for (std::size_t k = 0; k < n; ++k) {
        const double omega = 2 * std::numbers::pi * data.frequency_hz[k];
        const auto y = 1.0 / data.impedance[k];
        c[k] = y.imag() / omega;
        const double y_variance = data.impedance_variance[k] / std::pow(std::abs(data.impedance[k]), 4) / 2;
        const double variance = y_variance / (omega * omega);
        w[k] = variance > 0 ? 1 / variance : 0;
        x[k] = std::pow(data.frequency_hz[k] / f_high, 2);
        s0 += w[k];
        s1 += w[k] * x[k];
        s2 += w[k] * x[k] * x[k];
        t0 += w[k] * c[k];
        loss += w[k] * y.real() / omega;
        t1 += w[k] * x[k] * c[k];
    }
    const double determinant = s0 * s2 - s1 * s1;
    if (!(determinant > 0)) return out;
    out.c0_f = (s2 * t0 - s1 * t1) / determinant;
    out.rise_f = (s0 * t1 - s1 * t0) / determinant;
    double chi = 0;
    for (std::size_t k = 0; k < n; ++k) chi += w[k] * std::pow(c[k] - out.c0_f - out.rise_f * x[k], 2);
    const double misfit = std::max(1.0, chi / static_cast<double>(n - 2));
    out.rise_sigma_f = std::sqrt(s0 / determinant * misfit);
    out.loss_f = loss / s0;
    return out;
}

}  // namespace

std::vector<Finding> judge_signal(const dsp::CaptureHealth& health, const dsp::Response* response,
                                  bench::Hookup hookup) {
    const bool faint = hookup == bench::Hookup::short_circuit;
    std::vector<Finding> out;
    const auto clipped = [&](const dsp::ChannelHealth& channel, const char* name) {
        if (channel.clipped_frames == 0) return;
        out.push_back(
            {FindingCode::clipped, Weight::reject,
             fmt::format("{} clipped in {} frames (peak {:.1f} dBFS); lower the level or that input's gain and "
                         "sweep again",
                         name, channel.clipped_frames, channel.peak_dbfs)});
    };
    clipped(health.generator, "input 1 (generator side)");
    clipped(health.coil, "input 2 (coil side)");

    if (!health.dropouts.empty()) {
        const auto& d = health.dropouts.front();
        out.push_back(
            {FindingCode::dropout, Weight::reject,
             fmt::format(
                 "the capture breaks off in {} place{}, first at frame {}{}; close other programs, use a larger "
                 "buffer, check the leads and sweep again",
                 health.dropouts.size(), health.dropouts.size() == 1 ? "" : "s", d.first_frame,
                 d.frames == 0 ? " (frames lost or repeated)" : fmt::format(" ({} frames)", d.frames))});
    }

    double signal_to_noise = 0;
    if (response != nullptr && !response->frequency_hz.empty()) {
        std::vector<double> ratios;
        ratios.reserve(response->frequency_hz.size());
        for (std::size_t k = 0; k < response->frequency_hz.size(); ++k) {
            const double noise = response->generator_noise[k];
            ratios.push_back(noise > 0 ? response->generator_amplitude[k] / noise : 1e12);
        }
        auto middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
        std::nth_element(ratios.begin(), middle, ratios.end());
        signal_to_noise = *middle;
    }
    if (health.generator.peak_dbfs < kQuietPeakDbfs) {
        out.push_back(
            {FindingCode::too_quiet, Weight::reject,
             fmt::format(
                 "input 1 {}: nothing reaches the generator side; check the lead from the line output, raise the "
                 "level and sweep again",
                 // There is nothing to give a figure for.
                 health.generator.peak_dbfs < kNothingDbfs
                     ? std::string("holds nothing but silence")
                     : fmt::format("peaks at {:.0f} dBFS only", health.generator.peak_dbfs))});
    } else if (!faint && health.coil.peak_dbfs < kNothingDbfs) {
        // A lead shorted to the return still carries the noise of an input; a dead input does not.
        out.push_back(
            {FindingCode::too_quiet, Weight::reject,
             "input 2 holds nothing but silence, not even noise: it is muted, switched off or not the one that "
             "was recorded; choose the input that is wired to the foot, or clear a short at its plug, and "
             "sweep again"});
    } else if (response != nullptr && signal_to_noise < kReferenceSignalToNoise) {
        out.push_back(
            {FindingCode::too_quiet, Weight::reject,
             fmt::format("the sweep stands only {:.0f} dB above the noise on input 1; raise the level or the gain, or "
                         "sweep for longer",
                         20 * std::log10(std::max(signal_to_noise, 1e-3)))});
    }

    if (!faint && health.hum && health.hum->relative_to_signal_db > kHumCautionDb) {
        out.push_back(
            {FindingCode::hum, Weight::caution,
             fmt::format("{:.0f} Hz hum stands {:.0f} dB {} the sweep on input 2; run the computer from its battery, "
                         "shorten the return lead, keep mains leads away",
                         health.hum->mains_hz, std::abs(health.hum->relative_to_signal_db),
                         health.hum->relative_to_signal_db < 0 ? "below" : "above")});
    }

    if (health.displaced_mains) {
        out.push_back(
            {FindingCode::rate_mismatch, Weight::caution,
             fmt::format("mains hum stands at {:.2f} Hz instead of {:.0f} Hz: the capture's sample rate is not the "
                         "stated one, and every frequency is off by as much; set one rate in interface, program and "
                         "operating system, and sweep again",
                         health.displaced_mains->seen_hz, health.displaced_mains->mains_hz)});
    }

    const std::optional<double> drift = health.clock_drift_ppm
                                            ? health.clock_drift_ppm
                                            : (response != nullptr ? response->clock_drift_ppm : std::nullopt);
    if (drift && std::abs(*drift) >= notable_drift_ppm) {
        const double size = std::abs(*drift);
        const Weight weight = size > kDriftRejectPpm    ? Weight::reject
                              : size > kDriftCautionPpm ? Weight::caution
                                                        : Weight::note;
        out.push_back(
            {FindingCode::clock_drift, weight,
             fmt::format(
                 "the clock that played and the clock that recorded differ by {:.1f} ppm{}; play and record with "
                 "the same interface",
                 *drift, weight == Weight::reject ? "" : " (removed, and kept in the uncertainty)")});
    }

    const double own = health.generator_distortion_db.value_or(-400);
    if (!faint && health.coil_distortion_db && *health.coil_distortion_db > kDistortionCautionDb &&
        *health.coil_distortion_db > own + 6) {
        const bool gross = *health.coil_distortion_db > kDistortionRejectDb;
        out.push_back(
            {FindingCode::nonlinear, gross ? Weight::reject : Weight::caution,
             fmt::format(
                 "input 2 holds distortion {:.0f} dB below the sweep that input 1 does not; lower the level, look for "
                 "a loose contact, a protection diode or iron nearby",
                 -*health.coil_distortion_db)});
    }
    if (response != nullptr && response->periods_left_out > 0) {
        out.push_back(
            {FindingCode::nonlinear, Weight::caution,
             fmt::format("{} of {} periods of the sweep differ from the others and were left out: a loose contact, "
                         "something touched, or lost samples; fasten the leads and sweep again",
                         response->periods_left_out, response->periods_left_out + response->averages)});
    }
    const double level_change = health.level_change.value_or(0), settling = health.settling_level_change.value_or(0);
    if (level_change > kLevelCaution || settling > kSettlingCaution) {
        out.push_back(
            {FindingCode::nonlinear, Weight::caution,
             fmt::format("the level on input 1 changed by {:.1f} % during the sweep, which nothing outside the "
                         "interface does: switch off automatic gain, limiter and noise suppression",
                         100 * std::max(level_change, settling))});
    }
    if (health.unsteadiness_sigma && *health.unsteadiness_sigma > kUnsteadyCautionSigma) {
        out.push_back({FindingCode::nonlinear, Weight::caution,
                       "the response changed during the sweep: something moved, was touched or has a loose contact; "
                       "fasten the leads, step "
                       "back and sweep again"});
    }
    return out;
}

std::vector<Finding> judge_wiring(const dsp::Response& response, const dsp::CorrectedResponse& corrected, double gain) {
    std::vector<Finding> out;
    // A passive thing behind a resistor cannot raise the voltage above the generator's: |ratio| <= 1 but for gain
    // mismatch. With the inputs swapped the ratio is the inverse, so most bins lie above 1 and none below.
    std::size_t above = 0, below = 0;
    for (std::size_t k = 0; k < response.ratio.size(); ++k) {
        const double size = std::abs(response.ratio[k]) / gain;
        const double margin = std::max(kAlikeGains, 3 * std::sqrt(response.variance[k]));
        above += size > 1 + margin ? 1U : 0U;
        below += size < 1 - margin ? 1U : 0U;
    }
    if (above >= 10 && above > 10 * below && above * 20 > response.ratio.size()) {
        out.push_back({FindingCode::inputs_swapped, Weight::reject,
                       "the coil side is louder than the generator side, which a passive coil cannot do; swap inputs 1 "
                       "and 2 (input 1 on the generator side of the resistor) and sweep again. If they are right, set "
                       "both gains alike, or measure the open standard, which tells by how much they differ"});
        return out;
    }
    if (!response.ratio.empty() && turned_over(response)) {
        out.push_back({FindingCode::inputs_swapped, Weight::reject,
                       "input 2 moves against input 1, which a passive coil cannot make it do: one of the two is "
                       "turned over; undo its polarity switch, or use the same kind of plug at both, and sweep again"});
        return out;
    }
    std::size_t tiny = 0;
    for (const auto& z : corrected.impedance) tiny += std::abs(z) < 1.0 ? 1U : 0U;
    if (!corrected.impedance.empty() && tiny * 20 > corrected.impedance.size() * 19) {
        out.push_back({FindingCode::shorted, Weight::reject,
                       "less than 1 ohm at the lead over the whole band: the lead is shorted to the return; clear the "
                       "short and sweep "
                       "again"});
    }
    return out;
}

std::vector<Finding> judge_no_fit(const dsp::NoFit& no_fit, const dsp::CorrectedResponse& corrected,
                                  const dsp::BenchValues& bench, bench::Hookup hookup) {
    const double low = corrected.frequency_hz.empty() ? 0 : corrected.frequency_hz.front();
    const double high = corrected.frequency_hz.empty() ? 0 : corrected.frequency_hz.back();
    const std::string band = fmt::format("{} and {}", record::hertz_text(low), record::hertz_text(high));
    using Reason = dsp::NoFit::Reason;

    if (no_fit.reason == Reason::too_coarse || no_fit.reason == Reason::does_not_describe ||
        no_fit.reason == Reason::did_not_converge) {
        return {{FindingCode::no_resonance, Weight::reject, no_fit.sentence}};
    }
    if (hookup == bench::Hookup::foot) {
        const ApparentCapacitance c = apparent_capacitance(corrected);
        // After an open standard a lead is good to a picofarad; a declared cable capacitance to 30 %.
        const double unsure_f = corrected.used_open ? 1e-12 : std::max(1e-12, 0.3 * bench.input_capacitance_f);
        const bool capacitive = c.loss_f < std::max(unsure_f, std::abs(c.c0_f)) && c.c0_f > -unsure_f;
        const bool rises = capacitive && c.rise_f > 6 * c.rise_sigma_f && c.rise_f > 0.02 * std::abs(c.c0_f);
        if (no_fit.reason == Reason::at_band_edge || rises) {
            return {{FindingCode::outside_band, Weight::reject,
                     fmt::format(
                         "no resonance between {}, but the coil's admittance rises toward the upper edge: it resonates "
                         "above the band; use an interface with a higher rate, or load the head with a known capacitor",
                         band)}};
        }
        if (capacitive && std::abs(c.c0_f) < unsure_f) {
            return {
                {FindingCode::no_coil, Weight::reject,
                 corrected.used_open
                     ? fmt::format("nothing but the open lead is seen between {}; clip the lead to the foot and the "
                                   "return to ground",
                                   band)
                     : fmt::format(
                           "nothing beyond the lead's own capacitance is seen between {}; check the clip on the foot, "
                           "and "
                           "measure the open standard, without which a coil that resonates far above the band is not "
                           "told "
                           "from none",
                           band)}};
        }
    } else if (no_fit.reason == Reason::at_band_edge) {
        return {
            {FindingCode::outside_band, Weight::reject,
             fmt::format(
                 "no resonance between {}, but the response still rises at an edge: it resonates outside the band; use "
                 "a higher rate, or another capacitor",
                 band)}};
    }
    return {
        {FindingCode::no_resonance, Weight::reject,
         fmt::format(
             "no resonance between {}: {}; check that the far end of the coil is {} and that the return is connected",
             band, no_fit.sentence.empty() ? "no peak stands out of the noise" : no_fit.sentence,
             hookup == bench::Hookup::winding ? "tied to the return" : "free")}};
}

}  // namespace coldtune::measure
