#include "analyzer/measure/advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "analyzer/measure/below_band.hpp"
#include "analyzer/measure/in_band.hpp"
#include "analyzer/measure/session.hpp"
#include "analyzer/record/preferred_values.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

constexpr double kNoise_dbfs = -100;     // rms of each channel, AES17
constexpr double kSweepRms = 0.5 / 1.7;  // -6 dBFS peak, crest factor of a Schroeder sweep
constexpr double kInputFactor = 0.7;     // of the played level arrives as recorded level
constexpr double kSweep_s = 5;
constexpr double kQShare = 0.7;  // of the copper Q survives former, floor and surroundings (common practice, no source)
constexpr double kSpacing_hz = 1.5;
constexpr std::size_t kCoarseBins = 1500;

// The bins of a sweep over the band, thinned where the curve is smooth: each stands for the `weight` bins around it.
struct SweepBins {
    std::vector<double> frequency_hz;
    std::vector<double> weight;
};

SweepBins choose_bins(const dsp::Band& band, double peak_hz, double bandwidth_hz) {
    SweepBins bins;
    const double coarse = std::max(kSpacing_hz, (band.high_hz - band.low_hz) / static_cast<double>(kCoarseBins));
    const double spacing = std::max(kSpacing_hz, bandwidth_hz / 100);
    for (double f = band.low_hz; f < band.high_hz;) {
        const bool near = std::abs(f - peak_hz) < 10 * bandwidth_hz;
        const double step = near ? spacing : coarse;
        bins.frequency_hz.push_back(f);
        bins.weight.push_back(step / kSpacing_hz);
        f += step;
    }
    return bins;
}

// The noise-free response that the calculated coil would give, with the variance a real sweep would have.
dsp::Response expected_response(const SweepBins& bins, double sample_rate_hz, const dsp::BenchValues& bench,
                                const dsp::Band& band, const std::function<Complex(double)>& admittance) {
    dsp::Response r;
    r.sample_rate_hz = sample_rate_hz;
    const double lines = (band.high_hz - band.low_hz) / kSpacing_hz;
    const double amplitude = kInputFactor * kSweepRms * std::sqrt(2 / lines);
    const double noise_rms = std::sqrt(0.5) * std::pow(10.0, kNoise_dbfs / 20);
    // E|error|^2 of a line's peak amplitude over n frames of white noise: 4 sigma^2 / n.
    const double line_variance = 4 * noise_rms * noise_rms / (kSweep_s * sample_rate_hz);
    for (std::size_t k = 0; k < bins.frequency_hz.size(); ++k) {
        const double omega = 2 * std::numbers::pi * bins.frequency_hz[k];
        const Complex y = admittance(bins.frequency_hz[k]) +
                          Complex(1 / bench.input_resistance_ohm, omega * bench.input_capacitance_f);
        const Complex m = 1.0 / (1.0 + bench.reference_ohm * y);
        r.frequency_hz.push_back(bins.frequency_hz[k]);
        r.ratio.push_back(m);
        r.variance.push_back((1 + std::norm(m)) * line_variance / (amplitude * amplitude) / bins.weight[k]);
    }
    r.generator_amplitude.assign(r.frequency_hz.size(), amplitude);
    r.coil_amplitude = r.generator_amplitude;
    r.generator_noise.assign(r.frequency_hz.size(), std::sqrt(line_variance));
    r.coil_noise = r.generator_noise;
    r.averages = 6;
    return r;
}

class Expectation {
public:
    Expectation(const model::SecondaryModel& model, const ShapeFamily& family, double rate_hz, const dsp::Band& band,
                double q)
        : model_(model), family_(family), rate_hz_(rate_hz), band_(band), first_hz_(model.modes_hz()[0]) {
        bins_ = choose_bins(band, first_hz_, first_hz_ / q);
        // Loss beyond copper widens the peak.
        scale_.resistance = 1 / kQShare;
        for (double f : bins_.frequency_hz) admittance_.push_back(model_.foot_admittance(f, scale_));
    }

    [[nodiscard]] bool in_band() const { return first_hz_ < 0.97 * band_.high_hz; }

    // Relative 95 % half-width with this reference; empty where the way refuses.
    [[nodiscard]] std::optional<double> u95(double reference_ohm) const {
        const dsp::BenchValues bench{reference_ohm, 1e6, 150e-12, 0};
        std::size_t at = 0;
        const dsp::Response coil =
            expected_response(bins_, rate_hz_, bench, band_, [&](double) { return admittance_[at++]; });
        dsp::Standards standards;
        standards.open = expected_response(bins_, rate_hz_, bench, band_, [](double) { return Complex(0, 0); });
        const auto corrected = dsp::correct(coil, standards, bench);
        if (!corrected) return std::nullopt;
        if (in_band()) {
            const InBandOutcome found =
                find_in_band(*corrected, coil, standards, bench, BenchTolerances{}, bench::Hookup::foot, std::nullopt);
            if (const auto* r = std::get_if<Resonance>(&found)) return r->frequency_u95_hz / r->frequency_hz;
            return std::nullopt;
        }
        const BelowBandOutcome found = find_below_band(*corrected, family_, bench, BenchTolerances{}, band_);
        if (const auto* fit = std::get_if<BelowBandFit>(&found)) {
            return fit->resonance.frequency_u95_hz / fit->resonance.frequency_hz;
        }
        return std::nullopt;
    }

private:
    const model::SecondaryModel& model_;
    const ShapeFamily& family_;
    double rate_hz_;
    dsp::Band band_;
    double first_hz_;
    SweepBins bins_;
    model::ModelScale scale_;
    std::vector<Complex> admittance_;
};

// Over three decades the interval changes smoothly with the resistor: every third value first, then the neighbours of
// the best.
void find_best_reference(const Expectation& expect, Advice& advice) {
    const auto resistors = record::preferred_between(470, 220e3, record::Series::e12);
    if (!resistors) return;
    std::size_t best = 0;
    const auto look = [&](std::size_t i) {
        const auto u = expect.u95((*resistors)[i]);
        // A resistor must be clearly better to replace one already found: the clock's share hides what is beneath it.
        if (!u || (advice.best_u95_relative && *u > 0.99 * *advice.best_u95_relative)) return;
        advice.best_u95_relative = u;
        advice.best_reference_ohm = (*resistors)[i];
        best = i;
    };
    for (std::size_t i = 0; i < resistors->size(); i += 4) look(i);
    if (!advice.best_reference_ohm) return;
    const std::size_t centre = best;
    for (std::size_t i = centre >= 3 ? centre - 3 : 0; i < std::min(centre + 4, resistors->size()); ++i) {
        if (i != centre) look(i);
    }
}

std::string percent(double relative) {
    return fmt::format("{:.2g} %", 100 * relative);
}

std::string sentence_of(const Advice& a) {
    const std::string head = fmt::format("calculated {}; this interface is usable to about {}",
                                         record::hertz_text(a.calculated_hz, 3), record::hertz_text(a.band.high_hz, 3));
    const std::string capacitors = in_words(a.loading);
    if (a.way && a.expected_u95_relative) {
        std::string text =
            fmt::format("{}: {} expected to +-{}", head, way_name(*a.way), percent(*a.expected_u95_relative));
        if (*a.way == Way::below_band && !capacitors.empty()) {
            text += fmt::format("; a loading series with {} would check it", capacitors);
        }
        return text;
    }
    if (!capacitors.empty())
        return fmt::format("{}: too far above it; use a loading series with {} from head to return", head, capacitors);
    return fmt::format(
        "{}: neither the band nor a loading capacitor reaches this coil; use an interface with a higher rate", head);
}

}  // namespace

Result<Advice> advise(const model::CoilDescription& coil, double sample_rate_hz, double reference_ohm) {
    if (!(sample_rate_hz >= 8000 && sample_rate_hz <= 384000)) {
        return usage_error(fmt::format("a sample rate of {} Hz is outside 8000 to 384000", sample_rate_hz));
    }
    if (!(reference_ohm >= 1 && reference_ohm <= 1e7)) {
        return usage_error(fmt::format("a reference of {} ohm is outside 1 ohm to 10 Mohm", reference_ohm));
    }
    const auto model = model::SecondaryModel::build(coil);
    if (!model) return model.error();
    const auto family = ShapeFamily::build(coil);
    if (!family) return family.error();

    Advice advice;
    advice.sample_rate_hz = sample_rate_hz;
    advice.band = default_band(sample_rate_hz);
    advice.calculated_hz = model->modes_hz()[0];
    advice.reference_ohm = reference_ohm;
    const Expectation expect(*model, *family, sample_rate_hz, advice.band, kQShare * model->equivalent(0).q);
    const bool reachable = advice.calculated_hz < kBelowBandReach * advice.band.high_hz;
    if (reachable) {
        advice.expected_u95_relative = expect.u95(reference_ohm);
        find_best_reference(expect, advice);
        if (advice.expected_u95_relative) advice.way = expect.in_band() ? Way::in_band : Way::below_band;
    }
    if (!expect.in_band()) advice.loading = loading_choices(*model, advice.band);
    advice.sentence = sentence_of(advice);
    return advice;
}

}  // namespace coldtune::measure
