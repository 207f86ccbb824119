# FFT, stimuli, response estimation, capture health.
target_sources(coldtune_dsp PRIVATE
  capture_check.cpp
  clock_drift.cpp
  excited_bins.cpp
  fft.cpp
  quantisation.cpp
  resample.cpp
  response_periodic.cpp
  scatter_noise.cpp
  signal_start.cpp
  silence_noise.cpp
  spectra.cpp
  stimulus.cpp)
