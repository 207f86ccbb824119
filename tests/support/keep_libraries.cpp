// A window driver that is unloaded takes the names of its functions with it, and the leak check can no longer tell its
// leaks (leaks_of_others.txt) from ours. Linked into programs built with the address sanitizer: nothing is unloaded.
extern "C" __attribute__((visibility("default"))) int dlclose(void* /*library*/) { return 0; }
