# Geometry, wire, inductance, handbook, primary, tank.
target_sources(coldtune_analyzer PRIVATE
  elliptic.cpp
  inductance.cpp
  wire.cpp)
