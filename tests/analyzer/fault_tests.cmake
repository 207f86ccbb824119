# Faults of bench, signal and clock, and that none passes for a measurement.
coldtune_test(fault_test
  SOURCES doubts_test.cpp fault_captures_test.cpp fault_matrix_test.cpp ../support/capture_faults.cpp ../support/fault_scenes.cpp
  LIBS coldtune_analyzer fmt::fmt
  TIMEOUT 900
  HEAVY)
