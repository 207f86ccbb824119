# Secondary and tank together: the model, the fit, what it means for the spark.
coldtune_test(coupled_pair_test
  SOURCES coupled_pair_test.cpp spark_exchange_test.cpp
  LIBS coldtune_true_coils coldtune_analyzer Eigen3::Eigen nlohmann_json::nlohmann_json
  HEAVY)
coldtune_test(pair_fit_test
  SOURCES pair_bench_test.cpp pair_fit_test.cpp exchange_command_test.cpp
  LIBS coldtune_true_coils coldtune_analyzer Eigen3::Eigen nlohmann_json::nlohmann_json
  TIMEOUT 600
  HEAVY)
