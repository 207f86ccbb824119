// One axis of a plot: its range, its scale, where its marks stand and what is written at them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace coldtune::picture {

enum class Scale { linear, logarithmic };

// low < high; on a logarithmic axis both positive.
struct Range {
    double low = 0;
    double high = 1;
    friend bool operator==(const Range&, const Range&) = default;
};

// Position of a value in a range, 0 at low and 1 at high (outside: below 0, above 1), and back. A value that a
// logarithmic axis cannot show (not positive) lies at -1e9.
double position_of(double value, Range range, Scale scale);
double value_at(double position, Range range, Scale scale);

struct Tick {
    double value = 0;
    std::string label;  // empty for a minor mark
    bool major = true;
};

// Marks for the range: at most `most` labelled ones, at 1, 2 or 5 times a power of ten when linear, at powers of ten
// (and 2 and 5 between them where there is room) when logarithmic. Labels carry an SI prefix and no unit; neighbouring
// labels always differ. At least two carry labels, whatever `most` says. most >= 2.
std::vector<Tick> ticks(Range range, Scale scale, int most);

// Marks for degrees: at 90, 45, 30, 15, 10, 5, 2 or 1 of them, below at 1, 2 or 5 times a power of ten. At least two
// carry labels, else at most `most`.
std::vector<Tick> degree_ticks(Range range, int most);

// "63.4k", "1.2M", "0": as many digits as it takes to tell values `step` apart. Locale-proof.
std::string short_number(double value, double step);

// The value with its unit for a readout, `digits` significant: "63.41 kHz".
std::string number_with_unit(double value, std::string_view unit, int digits);

// The range grown by a fraction on both sides (in decades when logarithmic); an empty range becomes one around it.
Range with_margin(Range range, Scale scale, double fraction);

}  // namespace coldtune::picture
