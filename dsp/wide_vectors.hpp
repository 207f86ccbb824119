// Hot loops compiled twice.
#pragma once

// COLDTUNE_WIDE_VECTORS before a function compiles it for every x86-64 processor and once more for those with vectors
// of four doubles and fused multiply-add; the loader chooses. Results may differ in the last digit between the two.
// Elsewhere, and under sanitizers, whose runtime is not ready when the loader chooses, it is nothing.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define COLDTUNE_WIDE_VECTORS [[gnu::target_clones("fma", "default")]]
#else
#define COLDTUNE_WIDE_VECTORS
#endif
