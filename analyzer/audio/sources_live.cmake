# Live audio: the port, the child process that owns PortAudio, and what the two share.
target_sources(coldtune_analyzer PRIVATE
  ${CMAKE_CURRENT_LIST_DIR}/audio_child.cpp
  ${CMAKE_CURRENT_LIST_DIR}/child_process.cpp
  ${CMAKE_CURRENT_LIST_DIR}/lost_signal.cpp
  ${CMAKE_CURRENT_LIST_DIR}/portaudio_port.cpp
  ${CMAKE_CURRENT_LIST_DIR}/shared_stream.cpp
  ${CMAKE_CURRENT_LIST_DIR}/stream_copier.cpp)
