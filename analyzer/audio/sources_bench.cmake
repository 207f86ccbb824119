# The simulated bench.
target_sources(coldtune_analyzer PRIVATE
  ${CMAKE_CURRENT_LIST_DIR}/bench_check.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_circuit.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_default.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_faults.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_filter.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_signal.cpp
  ${CMAKE_CURRENT_LIST_DIR}/bench_table.cpp
  ${CMAKE_CURRENT_LIST_DIR}/simulated_port.cpp)
