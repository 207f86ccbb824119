# Geometry, wire, inductance, handbook, primary, tank.
target_sources(coldtune_analyzer PRIVATE
  clearance.cpp
  elliptic.cpp
  geometry.cpp
  handbook.cpp
  inductance.cpp
  primary.cpp
  tank.cpp
  wire.cpp)
