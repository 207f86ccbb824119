# Exports under other programs: scikit-rf, Python's csv module, ngspice.
coldtune_test(outside_share_test
  SOURCES
    exported_netlists_test.cpp
    exported_responses_test.cpp
    report_test.cpp
    ../support/process.cpp
  LIBS coldtune_analyzer Eigen3::Eigen fmt::fmt nlohmann_json::nlohmann_json)
