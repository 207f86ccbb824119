# Captures on disk.
target_sources(coldtune_analyzer PRIVATE
  capture_file.cpp
  capture_note.cpp
  wav_layout.cpp)
