# Statistics, correction, least squares, resonance fit, ring-down.
target_sources(coldtune_dsp PRIVATE
  statistics.cpp
  correction.cpp
  least_squares.cpp
  least_squares_orthogonal.cpp
  resonance_model.cpp
  resonance_residuals.cpp
  resonance_refit.cpp
  peak_search.cpp
  start_values.cpp
  cross_checks.cpp
  fit_window.cpp
  resonance_fit.cpp
  ringdown.cpp
  zero_reactance.cpp)
