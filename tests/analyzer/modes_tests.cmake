coldtune_test(analyzer_modes_test
  SOURCES calculated_test.cpp capacitance_test.cpp secondary_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen)
