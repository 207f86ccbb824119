coldtune_test(analyzer_field_test
  SOURCES geometry_test.cpp handbook_test.cpp inductance_test.cpp primary_test.cpp wire_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen Boost::headers)
