# Quantities, files of ours, captures on disk, and the rules of the house.
coldtune_test(record_test
  SOURCES
    atomic_file_test.cpp
    capture_file_test.cpp
    capture_hostile_test.cpp
    coil_file_test.cpp
    house_rules_test.cpp
    json_text_test.cpp
    preferred_values_test.cpp
    quantity_test.cpp
    sha256_test.cpp
    ../support/process.cpp
  LIBS coldtune_analyzer nlohmann_json::nlohmann_json)
