// What every reader of a capture asks first.
#pragma once

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::dsp {

// bad_input, naming channel and frame, when a sample is NaN or infinite.
Status check_finite(const TwoChannelCapture& capture);

}  // namespace coldtune::dsp
