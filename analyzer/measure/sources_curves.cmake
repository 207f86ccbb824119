# Curves for those who draw.
target_sources(coldtune_analyzer PRIVATE
  curves.cpp)
