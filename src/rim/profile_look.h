/* profile_look.h: looking up derivatives around circles of a photo squared up. Private to profile*.c; in a header so that the loops over
 * circles take it in. */
#ifndef PINSPAN_RIM_PROFILE_LOOK_H
#define PINSPAN_RIM_PROFILE_LOOK_H

#include "base/wide.h"
#include "rim/profile.h"

/* Samples lie in strips, each as high as the view and STEP_X samples wide with the first of the next beside them: what a bilinear
 * look-up needs is then within 32 bytes, and circles, which cross the view in all directions, find a few samples of their way in every 64
 * bytes of memory. */
enum { STRIP = 4, STEP_X = STRIP - 1, THIRD = 21846, THIRD_BITS = 16 }; /* i * THIRD >> 16 is i / 3 up to 32767 */

/* The cell of sample (i, j). */
PS_WITHIN int place(int i, int j, int rows) {
    int strip = (i * THIRD) >> THIRD_BITS;
    return (strip * rows + j) * STRIP + i - strip * STEP_X;
}

PS_WITHIN float part_x(uint32_t cell) {
    return (float)((int32_t)(cell << 16) >> 16);
}
PS_WITHIN float part_y(uint32_t cell) {
    return (float)((int32_t)cell >> 16);
}

/* Along a direction: gx c + gy s, in the cells' unit times 32767. */
PS_WITHIN float along(uint32_t cell, uint32_t direction) {
    int32_t x = (int32_t)(cell << 16) >> 16, y = (int32_t)cell >> 16, c = (int32_t)(direction << 16) >> 16, s = (int32_t)direction >> 16;
    return (float)(x * c + y * s);
}

/* Whether the photo shows a place, in samples. */
PS_WITHIN bool in_view(const ps_profile_view *v, float x, float y) {
    int i = (int)x, j = (int)y;
    return i >= 1 && j >= 1 && i < v->width - 2 && j < v->height - 2 && v->cell[place(i, j, v->rows)] != 0;
}

/* Derivative along the radius in the directions from `from` on, bilinear, in the cells' unit times 32767; counts those in view. */
PS_WITHIN int radial(const ps_profile_view *v, const ps_profile_turn *t, int from, float cx, float cy, float r, float *restrict g) {
    int right = v->width - 2, bottom = v->height - 2, inside = 0;
    for (int k = from; k < t->sectors; k++) {
        float x = cx + r * t->c[k], y = cy + r * t->s[k];
        int i = (int)x, j = (int)y, within = -((i >= 1) & (j >= 1) & (i < right) & (j < bottom));
        float a = x - (float)i, b = y - (float)j;
        const uint32_t *q = v->cell + (place(i, j, v->rows) & within);
        float here = along(q[0], t->packed[k]), beside = along(q[1], t->packed[k]);
        float below = along(q[STRIP], t->packed[k]), across = along(q[STRIP + 1], t->packed[k]);
        float left = here + b * (below - here), far = beside + b * (across - beside);
        g[k] = left + a * (far - left);
        inside += q[0] != 0;
    }
    return inside;
}

#ifdef PS_HAS_AVX2
/* Eight directions at a time; the same operations in the same order. */
PS_AVX2_WITHIN __m256 along8(__m256i cell, __m256i direction) {
    return _mm256_cvtepi32_ps(_mm256_madd_epi16(cell, direction));
}
PS_AVX2_WITHIN __m256 between8(__m256 a, __m256 b, __m256 share) {
    return _mm256_add_ps(a, _mm256_mul_ps(share, _mm256_sub_ps(b, a)));
}
/* The four cells of one look-up: here, beside, below, across. */
PS_AVX2_WITHIN __m128i four_cells(const uint32_t *q) {
    return _mm_unpacklo_epi64(_mm_loadl_epi64((const __m128i *)(const void *)q),
                              _mm_loadl_epi64((const __m128i *)(const void *)(q + STRIP)));
}
PS_AVX2_WITHIN __m256i eight_cells(const uint32_t *low, const uint32_t *high) {
    return _mm256_inserti128_si256(_mm256_castsi128_si256(four_cells(low)), four_cells(high), 1);
}

PS_AVX2_WITHIN int radial8(const ps_profile_view *v, const ps_profile_turn *t, float cx, float cy, float r, float *restrict g) {
    const __m256 mx = _mm256_set1_ps(cx), my = _mm256_set1_ps(cy), mr = _mm256_set1_ps(r);
    const __m256i zero = _mm256_setzero_si256(), third = _mm256_set1_epi32(THIRD);
    /* place() as a sum of two products of 16 bits: strips are at most 6000 rows high (SIDE_MAX of squared.c) */
    const __m256i apart = _mm256_set1_epi32(STRIP << 16 | (STRIP * v->rows - STEP_X));
    const __m256i right = _mm256_set1_epi32(v->width - 2), bottom = _mm256_set1_epi32(v->height - 2);
    int32_t at[8];
    int inside = 0, k = 0;
    for (; k + 8 <= t->sectors; k += 8) {
        __m256 x = _mm256_add_ps(mx, _mm256_mul_ps(mr, _mm256_loadu_ps(t->c + k)));
        __m256 y = _mm256_add_ps(my, _mm256_mul_ps(mr, _mm256_loadu_ps(t->s + k)));
        __m256i i = _mm256_cvttps_epi32(x), j = _mm256_cvttps_epi32(y);
        __m256i within = _mm256_and_si256(_mm256_and_si256(_mm256_cmpgt_epi32(i, zero), _mm256_cmpgt_epi32(j, zero)),
                                          _mm256_and_si256(_mm256_cmpgt_epi32(right, i), _mm256_cmpgt_epi32(bottom, j)));
        __m256 a = _mm256_sub_ps(x, _mm256_cvtepi32_ps(i)), b = _mm256_sub_ps(y, _mm256_cvtepi32_ps(j));
        __m256i strip = _mm256_mulhi_epu16(i, third);
        __m256i place8 = _mm256_add_epi32(_mm256_madd_epi16(_mm256_or_si256(strip, _mm256_slli_epi32(j, 16)), apart), i);
        _mm256_storeu_si256((__m256i *)(void *)at, _mm256_and_si256(place8, within));
        __asm__ volatile("" : : "r"(at) : "memory"); /* loads are cheaper than taking the register apart */
        __m256i p = eight_cells(v->cell + at[0], v->cell + at[4]), q = eight_cells(v->cell + at[1], v->cell + at[5]);
        __m256i u = eight_cells(v->cell + at[2], v->cell + at[6]), w = eight_cells(v->cell + at[3], v->cell + at[7]);
        __m256i pq_low = _mm256_unpacklo_epi32(p, q), pq_high = _mm256_unpackhi_epi32(p, q);
        __m256i uw_low = _mm256_unpacklo_epi32(u, w), uw_high = _mm256_unpackhi_epi32(u, w);
        __m256i cell = _mm256_unpacklo_epi64(pq_low, uw_low),
                direction = _mm256_loadu_si256((const __m256i *)(const void *)(t->packed + k));
        __m256 here = along8(cell, direction), beside = along8(_mm256_unpackhi_epi64(pq_low, uw_low), direction);
        __m256 below = along8(_mm256_unpacklo_epi64(pq_high, uw_high), direction);
        __m256 across = along8(_mm256_unpackhi_epi64(pq_high, uw_high), direction);
        _mm256_storeu_ps(g + k, between8(between8(here, below, b), between8(beside, across, b), a));
        inside += 8 - __builtin_popcount((unsigned)_mm256_movemask_ps(_mm256_castsi256_ps(_mm256_cmpeq_epi32(cell, zero))));
    }
    return inside + radial(v, t, k, cx, cy, r, g);
}
#endif

#endif
