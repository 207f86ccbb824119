#pragma once

namespace coldtune {

// One row of a printed table.
struct Tabulated {
    double argument;
    double value;
};

}  // namespace coldtune
