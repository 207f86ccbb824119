# FFT, stimuli, spectra, response, clock drift, capture health.
coldtune_test(dsp_signal_test
  SOURCES
    any_input_test.cpp
    broadband_test.cpp
    capture_health_test.cpp
    clock_drift_test.cpp
    delay_test.cpp
    fft_test.cpp
    period_shift_test.cpp
    response_test.cpp
    signal_start_test.cpp
    spectra_test.cpp
    stimulus_test.cpp
  LIBS coldtune_dsp nlohmann_json::nlohmann_json)
