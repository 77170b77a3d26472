/* wide.h: functions compiled twice, plainly and for processors with AVX2, the right one taken when the program starts. Results are the
 * same: no multiplication is fused with an addition (cmake/Settings.cmake), and loops keep their order of summation. Sanitizers do
 * not go together with it. -DPS_PLAIN leaves the wide forms out, to compare. */
#ifndef PINSPAN_BASE_WIDE_H
#define PINSPAN_BASE_WIDE_H

#if !defined(PS_PLAIN) && defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__) &&                     \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define PS_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define PS_WIDE
#endif

/* Where compilers do not find the wide form by themselves: a function of its own for AVX2 (parts of it within), called only where
 * PS_AVX2_HERE. */
#if !defined(PS_PLAIN) && defined(__x86_64__) && defined(__GNUC__)
#include <immintrin.h>
#define PS_HAS_AVX2    1
#define PS_AVX2        __attribute__((target("avx2")))
#define PS_AVX2_WITHIN static inline __attribute__((always_inline, target("avx2")))
#define PS_AVX2_HERE   __builtin_cpu_supports("avx2")
#endif

/* For parts of such a function: they must be within it. */
#define PS_WITHIN static inline __attribute__((always_inline))

#endif
