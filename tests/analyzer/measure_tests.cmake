# From captures to verdicts.
coldtune_test(measure_test
  SOURCES description_check_test.cpp findings_test.cpp follow_test.cpp head_voltage_test.cpp in_band_test.cpp one_input_test.cpp
    standard_check_test.cpp
  LIBS coldtune_analyzer)

coldtune_test(below_band_test
  SOURCES below_band_test.cpp ways_table_test.cpp
  LIBS coldtune_true_coils coldtune_analyzer Eigen3::Eigen
  TIMEOUT 900
  HEAVY)

coldtune_test(command_line_test
  SOURCES command_line_test.cpp
  LIBS coldtune_analyzer nlohmann_json::nlohmann_json)

coldtune_test(long_capture_test
  SOURCES long_capture_test.cpp
  LIBS coldtune_analyzer)
