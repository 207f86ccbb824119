# The numeric core over random but valid inputs.
coldtune_test(model_property_test
  SOURCES model_property_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen fmt::fmt)
