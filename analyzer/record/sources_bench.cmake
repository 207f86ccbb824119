# The reader of BENCH.json.
target_sources(coldtune_analyzer PRIVATE ${CMAKE_CURRENT_LIST_DIR}/bench_file.cpp)
