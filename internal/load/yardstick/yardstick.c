//go:build linux && cgo && amd64

#include "yardstick.h"

#include <dlfcn.h>
#include <immintrin.h>

typedef void dgemm(int, int, int, int, int, int, double, const double *, int, const double *, int, double, double *, int);

static dgemm *product;

// ys_open looks for the library of Debian's package libopenblas0-pthread and
// keeps it to one thread.
int ys_open(void) {
	if (product) return 1;
	void *library = dlopen("libopenblas.so.0", RTLD_NOW);
	if (!library) return 0;
	void (*threads)(int) = (void (*)(int))dlsym(library, "openblas_set_num_threads");
	if (threads) threads(1);
	product = (dgemm *)dlsym(library, "cblas_dgemm");
	return product != 0;
}

void ys_dgemm(int n, const double *a, const double *b, double *c) {
	product(101, 111, 111, n, n, n, 1, a, n, b, n, 0, c, n); // by rows, none transposed
}

// Twelve sums that never leave their registers, so that both pipes are full
// whatever the latency. The result keeps the compiler from leaving them out.
#define REGISTERS(NAME, TARGET, VEC, SET, MADD)                                      \
	TARGET static double NAME(long rounds) {                                         \
		VEC x = SET(0.999999), y = SET(1e-7);                                        \
		VEC a = x, b = x, c = x, d = x, e = x, f = x, g = x, h = x, i = x, j = x, k = x, l = x; \
		while (rounds--) {                                                           \
			a = MADD(a, x, y), b = MADD(b, x, y), c = MADD(c, x, y), d = MADD(d, x, y); \
			e = MADD(e, x, y), f = MADD(f, x, y), g = MADD(g, x, y), h = MADD(h, x, y); \
			i = MADD(i, x, y), j = MADD(j, x, y), k = MADD(k, x, y), l = MADD(l, x, y); \
			__asm__ volatile("" : "+x"(a), "+x"(b), "+x"(c), "+x"(d), "+x"(e), "+x"(f)); \
			__asm__ volatile("" : "+x"(g), "+x"(h), "+x"(i), "+x"(j), "+x"(k), "+x"(l)); \
		}                                                                            \
		return (a + b + c + d + e + f + g + h + i + j + k + l)[0];                   \
	}

#define MULADD(a, b, c) _mm_add_pd(_mm_mul_pd(a, b), c)
REGISTERS(registers128, , __m128d, _mm_set1_pd, MULADD)
REGISTERS(registers256, __attribute__((target("avx2,fma"))), __m256d, _mm256_set1_pd, _mm256_fmadd_pd)
REGISTERS(registers512, __attribute__((target("avx512f"))), __m512d, _mm512_set1_pd, _mm512_fmadd_pd)

double ys_registers(int width, long rounds) {
	if (width == 512) return registers512(rounds);
	if (width == 256) return registers256(rounds);
	return registers128(rounds);
}
