# Distributed model: capacitance, modes, calculated value.
target_sources(coldtune_analyzer PRIVATE
  calculated.cpp
  capacitance.cpp
  coil_conductors.cpp
  coupled_pair.cpp
  meridian.cpp
  rank_one_update.cpp
  secondary.cpp
  secondary_modes.cpp
  spark_exchange.cpp
  strip_interaction.cpp
  tank_loop.cpp)
