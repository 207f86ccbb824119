# The simulated bench and its file.
coldtune_test(analyzer_bench_test
  SOURCES bench_circuit_test.cpp bench_faults_test.cpp bench_signal_test.cpp simulated_port_test.cpp bench_file_test.cpp
  LIBS coldtune_analyzer)
