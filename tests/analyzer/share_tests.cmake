# Pictures, exports and imports, reports.
coldtune_test(picture_test SOURCES axis_test.cpp plot_test.cpp theme_test.cpp LIBS coldtune_analyzer)
coldtune_test(share_test
  SOURCES export_command_test.cpp kept_result_test.cpp response_import_test.cpp
  LIBS coldtune_analyzer fmt::fmt nlohmann_json::nlohmann_json)
# The manual page and the shell completion.
coldtune_test(program_test SOURCES program_test.cpp ../support/process.cpp LIBS coldtune_flags)
add_dependencies(program_test coldtune)
coldtune_test(manual_test SOURCES manual_test.cpp ../support/process.cpp LIBS coldtune_analyzer)
