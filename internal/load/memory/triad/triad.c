#include "triad.h"

#if defined(__x86_64__)
#include <immintrin.h>

#define TRIAD(name, isa, V, lanes, load, store, add, mul, spread)                      \
	__attribute__((target(isa))) static void name(                                 \
		double *a, const double *b, const double *c, long n)                   \
	{                                                                              \
		const V three = spread(3.0);                                           \
		for (long i = 0; i < n; i += 8)                                        \
			for (int j = 0; j < 8; j += lanes)                             \
				store(a + i + j, add(load(b + i + j), mul(three, load(c + i + j)))); \
		_mm_sfence();                                                          \
	}

TRIAD(plain128, "sse2", __m128d, 2, _mm_load_pd, _mm_store_pd, _mm_add_pd, _mm_mul_pd, _mm_set1_pd)
TRIAD(stream128, "sse2", __m128d, 2, _mm_load_pd, _mm_stream_pd, _mm_add_pd, _mm_mul_pd, _mm_set1_pd)
TRIAD(plain256, "avx2", __m256d, 4, _mm256_load_pd, _mm256_store_pd, _mm256_add_pd, _mm256_mul_pd, _mm256_set1_pd)
TRIAD(stream256, "avx2", __m256d, 4, _mm256_load_pd, _mm256_stream_pd, _mm256_add_pd, _mm256_mul_pd, _mm256_set1_pd)
TRIAD(plain512, "avx512f", __m512d, 8, _mm512_load_pd, _mm512_store_pd, _mm512_add_pd, _mm512_mul_pd, _mm512_set1_pd)
TRIAD(stream512, "avx512f", __m512d, 8, _mm512_load_pd, _mm512_stream_pd, _mm512_add_pd, _mm512_mul_pd, _mm512_set1_pd)
#endif

void belay_triad(double *memory, long n, int width, int stream)
{
	double *a = memory, *b = a + n, *c = b + n;
#if defined(__x86_64__)
	if (width >= 512)
		(stream ? stream512 : plain512)(a, b, c, n);
	else if (width >= 256)
		(stream ? stream256 : plain256)(a, b, c, n);
	else
		(stream ? stream128 : plain128)(a, b, c, n);
#else
	(void)width, (void)stream;
	for (long i = 0; i < n; i++)
		a[i] = b[i] + 3.0 * c[i];
#endif
}
