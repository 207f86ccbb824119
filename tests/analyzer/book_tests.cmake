# The bench book: its text, its file, its captures, its commands.
coldtune_test(book_test
  SOURCES book_alteration_test.cpp book_check_test.cpp book_command_test.cpp book_file_test.cpp book_hostile_test.cpp
          book_json_test.cpp book_kills_test.cpp book_lock_test.cpp book_recovery_test.cpp book_runs_test.cpp
          book_share_test.cpp kept_files_test.cpp rescue_test.cpp
  LIBS coldtune_analyzer fmt::fmt nlohmann_json::nlohmann_json Threads::Threads)
target_compile_definitions(book_test PRIVATE COLDTUNE_VERSION="${PROJECT_VERSION}")
