# Several captures of one coil, and several results on one coil.
coldtune_test(loading_test
  SOURCES combined_test.cpp loading_capture_test.cpp loading_command_test.cpp loading_series_test.cpp
          series_judgement_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen fmt::fmt nlohmann_json::nlohmann_json)
