# Curves and sentences for those who draw.
target_sources(coldtune_analyzer PRIVATE
  curves.cpp
  way_ahead.cpp)
