# The hookups besides the foot: head tied, and a wire near the head.
coldtune_test(winding_test
  SOURCES winding_test.cpp
  LIBS coldtune_analyzer)
coldtune_test(pickup_test
  SOURCES pickup_test.cpp
  LIBS coldtune_analyzer)
