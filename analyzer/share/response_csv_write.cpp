#include <fmt/format.h>

#include <cmath>
#include <complex>
#include <iterator>
#include <numbers>

#include "analyzer/share/curve_points.hpp"
#include "analyzer/share/response_csv.hpp"

namespace coldtune::share {

Result<std::string> csv_text(const measure::Curve& curve) {
    const auto points = ascending_points(curve);
    if (!points) return points.error();
    const bool deviations = curve.standard_deviation_ohm.size() == curve.frequency_hz.size();
    std::string out =
        "frequency_hz,resistance_ohm,reactance_ohm,standard_deviation_ohm,conductance_s,susceptance_s,impedance_ohm,"
        "phase_deg\n";
    const auto cell = [&](double value) {
        // An admittance of no impedance is no number; an empty cell says so in every spreadsheet.
        if (std::isfinite(value)) fmt::format_to(std::back_inserter(out), "{}", value);
    };
    for (std::size_t k : *points) {
        const std::complex<double> z = curve.impedance_ohm[k];
        const std::complex<double> y = 1.0 / z;
        cell(curve.frequency_hz[k]);
        for (double value : {z.real(), z.imag(), deviations ? curve.standard_deviation_ohm[k] : std::nan(""), y.real(),
                             y.imag(), std::abs(z), std::arg(z) * 180 / std::numbers::pi}) {
            out += ',';
            cell(value);
        }
        out += '\n';
    }
    return out;
}

}  // namespace coldtune::share
