//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// The wide-vector load: a small matrix product that stays in the second-level
// cache. Every element is compared with its known bits inside the registers.

#include "kernel.h"

#include <string.h>

#ifdef __FAST_MATH__
#error "The results are compared bit by bit: build without -ffast-math."
#endif

// Baseline: 128 bits as vectors of the compiler, a multiplication and an
// addition. Where the target always has a fused operation, it is used by name,
// because the compiler may fuse on its own there.
typedef double bk_pair __attribute__((vector_size(16), may_alias));
typedef long long bk_pair_bits __attribute__((vector_size(16), may_alias));

#ifdef __FP_FAST_FMA
#define BASE_FUSED 1
static inline __attribute__((always_inline)) bk_pair base_madd(bk_pair a, bk_pair b, bk_pair c) {
	return (bk_pair){__builtin_fma(a[0], b[0], c[0]), __builtin_fma(a[1], b[1], c[1])};
}
#else
#define BASE_FUSED 0
static inline __attribute__((always_inline)) bk_pair base_madd(bk_pair a, bk_pair b, bk_pair c) { return a * b + c; }
#endif

#if defined(__x86_64__) && (defined(__FMA__) || defined(__AVX__))
#error "The baseline must stay free of fused operations and wide registers: build without -march."
#endif

static inline __attribute__((always_inline)) int base_any(bk_pair_bits d) { return (d[0] | d[1]) != 0; }

#define NAME(x) base_##x
#define TARGET
#define VEC bk_pair
#define BITS bk_pair_bits
#define LANES 2
#define ROWS 2
#define COLUMNS 4
#define SPREAD(p) ((bk_pair){*(p), *(p)})
#define MADD base_madd
#define ANY base_any
#ifdef __x86_64__
#define HOLD(d, p) __asm__("" : "+x"(d), "+r"(p))
#else
#define HOLD(d, p) __asm__("" : "+r"(p))
#endif
#include "tile.h"

#ifdef __x86_64__
#include <immintrin.h>

#define NAME(x) wide256_##x
#define TARGET __attribute__((target("avx2,fma")))
#define VEC __m256d
#define BITS __m256i
#define LANES 4
#define ROWS 2
#define COLUMNS 6
#define SPREAD _mm256_broadcast_sd
#define MADD _mm256_fmadd_pd
#define ANY(d) (!_mm256_testz_si256(d, d))
#define HOLD(d, p) __asm__("" : "+x"(d), "+r"(p))
#include "tile.h"

#define NAME(x) wide512_##x
#define TARGET __attribute__((target("avx512f")))
#define VEC __m512d
#define BITS __m512i
#define LANES 8
#define ROWS 3
#define COLUMNS 8
#define SPREAD(p) _mm512_set1_pd(*(p))
#define MADD _mm512_fmadd_pd
#define ANY(d) _mm512_test_epi64_mask(d, d)
#define HOLD(d, p) __asm__("" : "+v"(d), "+r"(p))
#include "tile.h"
#endif

typedef struct {
	int rows, columns, lanes;
	int (*tile)(const double *, const double *, int, const double *, double *);
	void (*plain)(const double *, const double *, int, double *);
	int (*resume)(const double *, const double *, int, const double *, double *);
} path;

static path path_of(int width) {
#ifdef __x86_64__
	if (width == 512) return (path){24, 8, 8, wide512_tile, wide512_plain, wide512_resume};
	if (width == 256) return (path){8, 6, 4, wide256_tile, wide256_plain, wide256_resume};
#endif
	return (path){4, 4, 2, base_tile, base_plain, base_resume};
}

void bk_product_tile(int width, int *rows, int *columns, int *lanes) {
	path w = path_of(width);
	*rows = w.rows;
	*columns = w.columns;
	*lanes = w.lanes;
}

// The compiler's check also asks whether the system saves the wide registers.
int bk_width_works(int width) {
#ifdef __x86_64__
	__builtin_cpu_init();
	if (width == 512) return __builtin_cpu_supports("avx512f") != 0;
	if (width == 256) return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma");
#endif
	return width == 128;
}

int bk_fused(int width) { return width > 128 || BASE_FUSED; }

static void toggle(double *at, unsigned bit) {
	uint64_t bits;
	memcpy(&bits, at, sizeof bits);
	bits ^= (uint64_t)1 << (bit & 63);
	memcpy(at, &bits, sizeof bits);
}

// disturbed computes one tile with the flip that a test asked for. Site 1 is
// an accumulator after step steps, site 2 one use of an element of A.
static int disturbed(const bk_product *p, path w, double *a, const double *b, const double *gold, double *got) {
	int step = (int)p->fault.step, element = (int)(p->fault.index % (uint64_t)(w.rows * w.columns));
	if (p->fault.site == 2) {
		double *at = a + step * w.rows + element % w.rows;
		toggle(at, p->fault.bit);
		int wrong = w.tile(a, b, p->k, gold, got);
		toggle(at, p->fault.bit);
		return wrong;
	}
	w.plain(a, b, step, got);
	toggle(got + element, p->fault.bit);
	return w.resume(a + step * w.rows, b + step * w.columns, p->k - step, gold, got);
}

// describe finds the wrong elements of a tile. A tile holds its columns one
// after the other.
static void describe(bk_product *p, path w, int i, int j, const double *gold, const double *got) {
	for (int e = 0; e < w.rows * w.columns; e++) {
		uint64_t want, have;
		memcpy(&want, gold + e, sizeof want);
		memcpy(&have, got + e, sizeof have);
		if (want == have) continue;
		if (p->wrong.count++ == 0) {
			p->wrong.expected = want;
			p->wrong.got = have;
			p->wrong.place = (uint64_t)(i + e % w.rows) << 32 | (uint64_t)(j + e / w.rows);
		}
	}
}

// pass does one whole product. It returns 1 if every element is right.
static int pass(bk_product *p, path w, int checked) {
	double *got = p->got;
	const double *gold = p->gold;
	uint64_t tile = 0, struck = p->fault.site ? p->fault.index / (uint64_t)(w.rows * w.columns) : ~(uint64_t)0;
	p->wrong.count = 0;
	const double *b = p->b;
	for (int j = 0; j < p->n; j += w.columns, b += w.columns * p->k) {
		double *a = p->a;
		for (int i = 0; i < p->m; i += w.rows, a += w.rows * p->k, gold += w.rows * w.columns, tile++) {
			int wrong = 0;
			if (__builtin_expect(tile == struck, 0))
				wrong = disturbed(p, w, a, b, gold, got);
			else if (checked)
				wrong = w.tile(a, b, p->k, gold, got);
			else
				w.plain(a, b, p->k, got);
			if (__builtin_expect(wrong, 0)) describe(p, w, i, j, gold, got);
		}
	}
	p->fault.site = 0;
	return p->wrong.count == 0;
}

// bk_product_run does passes until the time, the stop or the most, and ends
// early at a wrong one. It returns how many were right.
uint64_t bk_product_run(bk_product *p, int64_t until, const volatile int32_t *stop, uint64_t most, int checked) {
	path w = path_of(p->width);
	uint64_t done = 0;
	do {
		if (!pass(p, w, checked)) return done;
		done++;
	} while (done < most && !*stop && bk_now() < until);
	return done;
}
