coldtune_test(outside_field_test
  SOURCES elliptic_library_test.cpp handbook_inductance_test.cpp primary_handbook_test.cpp toroid_library_test.cpp
          wire_handbook_test.cpp
  LIBS coldtune_analyzer Eigen3::Eigen Boost::headers)
