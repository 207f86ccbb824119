#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <iterator>

#include "analyzer/share/curve_points.hpp"
#include "analyzer/share/touchstone.hpp"

namespace coldtune::share {

Result<std::string> touchstone_text(const measure::Curve& curve, const TouchstoneOptions& o,
                                    std::span<const std::string> comments) {
    if (!(o.reference_ohm > 0) || !std::isfinite(o.reference_ohm)) {
        return bad_input("the reference resistance must be greater than 0");
    }
    const auto points = ascending_points(curve);
    if (!points) return points.error();

    const bool first_version = o.version == TouchstoneVersion::v1_0;
    const bool scattering = o.parameter == NetworkParameter::scattering;
    std::string out;
    if (!first_version) out += "[Version] 2.0\n";
    for (const std::string& line : comments) out += fmt::format("! {}\n", line);
    if (points->size() < curve.frequency_hz.size()) {
        out += fmt::format("! {} points without a value are left out\n", curve.frequency_hz.size() - points->size());
    }
    out += fmt::format("# Hz {} RI R {}\n", scattering ? "S" : "Z", o.reference_ohm);
    if (!first_version) {
        // Without [Reference] the option line's R holds.
        out += fmt::format("[Number of Ports] 1\n[Number of Frequencies] {}\n[Network Data]\n", points->size());
    }
    out += fmt::format("! Hz, {}: real part, imaginary part\n", scattering ? "reflection S11"
                                                                : first_version
                                                                    ? "impedance Z11 over the reference resistance"
                                                                    : "impedance Z11 in ohm");
    // S = (Z - R)/(Z + R), power waves of the specification for a real reference.
    for (std::size_t k : *points) {
        const std::complex<double> z = curve.impedance_ohm[k];
        const std::complex<double> value = scattering      ? (z - o.reference_ohm) / (z + o.reference_ohm)
                                           : first_version ? z / o.reference_ohm
                                                           : z;
        fmt::format_to(std::back_inserter(out), "{} {} {}\n", curve.frequency_hz[k], value.real(), value.imag());
    }
    if (!first_version) out += "[End]\n";
    return out;
}

}  // namespace coldtune::share
