// A stream of the audio child that stays open, for one job after another.
#pragma once

#include <memory>

#include "analyzer/audio/audio_port.hpp"

namespace coldtune::audio {

// AudioPort::hold of the real interface.
Result<std::unique_ptr<HeldStream>> hold_stream(const HoldRequest& request);

}  // namespace coldtune::audio
