# Statistics, correction, least squares, resonance fit, ring-down.
coldtune_test(dsp_fit_test
  SOURCES
    statistics_test.cpp
    gum_h2_test.cpp
    correction_test.cpp
    least_squares_test.cpp
    resonance_fit_test.cpp
    resonance_property_test.cpp
    ringdown_test.cpp
  LIBS coldtune_dsp Eigen3::Eigen fmt::fmt)

# Thousands of fits: apart, so that it runs beside the others; sanitizers slow it more than tenfold.
coldtune_test(dsp_fit_statistics_test
  SOURCES
    resonance_statistics_test.cpp
  LIBS coldtune_dsp Eigen3::Eigen
  TIMEOUT 900
  HEAVY)
