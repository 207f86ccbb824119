# The distributed model against exact values, other tools and measured coils.
coldtune_test(outside_modes_test
  SOURCES
    capacitance_exact_test.cpp
    coupled_ngspice_test.cpp
    measured_coils_test.cpp
    model_ngspice_test.cpp
    model_scipy_test.cpp
    ../support/process.cpp
  LIBS coldtune_analyzer Eigen3::Eigen Boost::headers fmt::fmt nlohmann_json::nlohmann_json)
