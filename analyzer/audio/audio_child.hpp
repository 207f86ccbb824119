// The process that owns the audio library, and with it everything that can hang when an audio server dies.
//
// It is this program started again by ChildProcess. It does one task on one SharedStream and ends:
//   "stream"  plays and records as the block requests, publishing its progress in the block;
//   "devices" writes one line per device into the block's listing: name, host, inputs, outputs, default rate, accepted
//             rates with commas between, separated by tabs.
// It ends when the program does (the kernel tells it), ramps the output down on SIGINT and SIGTERM, and is ended by
// SIGALRM if the audio library does not return.
#pragma once

namespace coldtune::audio {

// The child's main. `argv` as ChildProcess wrote it. Returns the exit code; 0 also for failures told in the block.
int run_audio_child(int argc, char** argv);

}  // namespace coldtune::audio
