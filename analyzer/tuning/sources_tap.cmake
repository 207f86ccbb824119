# The primary set to the secondary: top load, tap, what is left to do.
target_sources(coldtune_analyzer PRIVATE
  ${CMAKE_CURRENT_LIST_DIR}/capacitor_change.cpp
  ${CMAKE_CURRENT_LIST_DIR}/clock_share.cpp
  ${CMAKE_CURRENT_LIST_DIR}/compare.cpp
  ${CMAKE_CURRENT_LIST_DIR}/evidence.cpp
  ${CMAKE_CURRENT_LIST_DIR}/primary_fit.cpp
  ${CMAKE_CURRENT_LIST_DIR}/remark.cpp
  ${CMAKE_CURRENT_LIST_DIR}/sequence.cpp
  ${CMAKE_CURRENT_LIST_DIR}/top_load.cpp
  ${CMAKE_CURRENT_LIST_DIR}/tune.cpp
  ${CMAKE_CURRENT_LIST_DIR}/tuning_json.cpp
  ${CMAKE_CURRENT_LIST_DIR}/words.cpp)
