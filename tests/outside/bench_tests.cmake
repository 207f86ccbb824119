# The simulated bench's circuit, and captures made by ngspice and scipy.
coldtune_test(outside_bench_test
  SOURCES ngspice_bench_test.cpp ngspice_captures_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen nlohmann_json::nlohmann_json)

coldtune_test(outside_below_band_test
  SOURCES below_band_ngspice_test.cpp ../support/process.cpp
  LIBS coldtune_true_coils coldtune_analyzer Eigen3::Eigen fmt::fmt
  HEAVY)
