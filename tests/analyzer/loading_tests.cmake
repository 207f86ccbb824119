# Several captures of one coil, and several results on one coil.
coldtune_test(loading_test
  SOURCES loading_capture_test.cpp loading_series_test.cpp series_judgement_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen nlohmann_json::nlohmann_json)
