# Standards of marking and preferred values, audio files of other programs.
coldtune_test(outside_record_test
  SOURCES
    audio_files_scipy_test.cpp
    eseries_test.cpp
    iec60062_test.cpp
    ../support/process.cpp
  LIBS coldtune_analyzer nlohmann_json::nlohmann_json)
# The published schema of the bench book.
coldtune_test(outside_book_test
  SOURCES book_schema_test.cpp ../support/process.cpp
  LIBS coldtune_analyzer fmt::fmt nlohmann_json::nlohmann_json)
