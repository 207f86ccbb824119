# FFT, stimuli, response estimation, capture health.
target_sources(coldtune_dsp PRIVATE
  capture_check.cpp
  capture_health.cpp
  clock_drift.cpp
  crest.cpp
  delay.cpp
  displaced_mains.cpp
  dropouts.cpp
  excited_bins.cpp
  fft.cpp
  level_riding.cpp
  mains_hum.cpp
  period_collection.cpp
  period_facts.cpp
  period_shift.cpp
  quantisation.cpp
  resample.cpp
  response_broadband.cpp
  response_periodic.cpp
  scatter_noise.cpp
  signal_start.cpp
  silence_noise.cpp
  smooth_length.cpp
  spectra.cpp
  stimulus.cpp
  usable_band.cpp)
