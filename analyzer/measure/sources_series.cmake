# Several captures of one coil, and several results on one coil.
target_sources(coldtune_analyzer PRIVATE
  combined.cpp
  known_result.cpp
  loading_curve.cpp
  loading_json.cpp
  loading_series.cpp
  series_fit.cpp
  series_judgement.cpp
  tank_value.cpp)
