//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// The scalar load: multiplications, branches and loads of whole numbers. It
// needs no stored result: each answer is checked by a second, cheaper way.

#include "kernel.h"

#ifdef __clang__
#define NARROW
#else
#define NARROW __attribute__((optimize("no-tree-vectorize", "no-tree-slp-vectorize")))
#endif

// p = 2^64 - 2^32 + 1 is prime; 7 generates its group, whose order 2^32 (2^32 - 1)
// has room for transforms of every length used here.
#define P 0xffffffff00000001u
#define ROOT 7u

typedef unsigned __int128 wide;

uint64_t bk_mix(uint64_t x) { // splitmix64, Steele, Lea and Flood, OOPSLA 2014
	x += 0x9e3779b97f4a7c15u;
	x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
	x = (x ^ x >> 27) * 0x94d049bb133111ebu;
	return x ^ x >> 31;
}

// add takes any two words and gives a word of the same residue, below P if
// both were.
NARROW static inline uint64_t add(uint64_t a, uint64_t b) {
	uint64_t s = a + b;
	if (s < a) {
		s += 0xffffffffu; // 2^64 = 2^32 - 1
		if (s < 0xffffffffu) s += 0xffffffffu;
	}
	return s >= P ? s - P : s;
}

NARROW static inline uint64_t sub(uint64_t a, uint64_t b) { return add(a, b >= P ? 2 * (wide)P - b : P - b); }

// mul takes any two words. 2^64 = 2^32 - 1 and 2^96 = -1 fold the product.
NARROW static inline uint64_t mul(uint64_t a, uint64_t b) {
	wide x = (wide)a * b;
	uint64_t low = (uint64_t)x, high = (uint64_t)(x >> 64);
	uint64_t top = high >> 32, middle = high & 0xffffffffu;
	uint64_t t = low - top;
	if (low < top) t -= 0xffffffffu;
	uint64_t m = middle * 0xffffffffu;
	uint64_t r = t + m;
	if (r < t) {
		r += 0xffffffffu;
		if (r < 0xffffffffu) r += 0xffffffffu;
	}
	return r >= P ? r - P : r;
}

uint64_t bk_mulmod(uint64_t a, uint64_t b) { return mul(a, b); }

NARROW static uint64_t power(uint64_t x, uint64_t e) {
	uint64_t y = 1;
	for (; e; e >>= 1, x = mul(x, x))
		if (e & 1) y = mul(y, x);
	return y;
}

static uint64_t *twiddles(bk_scalar *s) { return s->room + 3 * BK_POINTS; }

void bk_scalar_init(bk_scalar *s) {
	uint64_t root = power(ROOT, (P - 1) / BK_POINTS), back = power(root, P - 2);
	uint64_t *t = twiddles(s), f = 1, g = 1;
	for (int i = 0; i < BK_POINTS / 2; i++, f = mul(f, root), g = mul(g, back)) {
		t[i] = f;
		t[BK_POINTS / 2 + i] = g;
	}
}

// forward is a transform by decimation in frequency, in place, which leaves
// the values in bit-reversed order; backward undoes it by decimation in time.
NARROW static void forward(uint64_t *v, const uint64_t *t) {
	for (int half = BK_POINTS / 2, stride = 1; half; half /= 2, stride *= 2)
		for (int at = 0; at < BK_POINTS; at += 2 * half)
			for (int i = 0; i < half; i++) {
				uint64_t x = v[at + i], y = v[at + i + half];
				v[at + i] = add(x, y);
				v[at + i + half] = mul(sub(x, y), t[i * stride]);
			}
}

NARROW static void backward(uint64_t *v, const uint64_t *t) {
	for (int half = 1, stride = BK_POINTS / 2; half < BK_POINTS; half *= 2, stride /= 2)
		for (int at = 0; at < BK_POINTS; at += 2 * half)
			for (int i = 0; i < half; i++) {
				uint64_t x = v[at + i], y = mul(v[at + i + half], t[i * stride]);
				v[at + i] = add(x, y);
				v[at + i + half] = sub(x, y);
			}
}

static inline void flip(bk_scalar *s, uint32_t site, uint64_t *v, uint64_t n) {
	if (__builtin_expect(s->fault.site == site, 0)) v[s->fault.index % n] ^= (uint64_t)1 << (s->fault.bit & 63);
}

// convolve multiplies the polynomials in a and b, each of BK_POINTS / 2
// coefficients and padded with zeros. b is spoilt.
NARROW void bk_convolve(bk_scalar *s, const uint64_t *a, const uint64_t *b, uint64_t *out) {
	uint64_t *x = out, *y = s->room + 2 * BK_POINTS;
	for (int i = 0; i < BK_POINTS; i++) {
		x[i] = i < BK_POINTS / 2 ? a[i] : 0;
		y[i] = i < BK_POINTS / 2 ? b[i] : 0;
	}
	forward(x, twiddles(s));
	forward(y, twiddles(s));
	flip(s, BK_FLIP_TRANSFORM, x, BK_POINTS);
	uint64_t scale = P - (P - 1) / BK_POINTS; // 1 / BK_POINTS
	for (int i = 0; i < BK_POINTS; i++) x[i] = mul(mul(x[i], y[i]), scale);
	backward(x, twiddles(s) + BK_POINTS / 2);
}

NARROW static uint64_t value(const uint64_t *v, int n, uint64_t x) {
	uint64_t y = 0;
	while (n--) y = add(mul(y, x), v[n]);
	return y;
}

static int wrong(bk_scalar *s, uint32_t stage, uint64_t expected, uint64_t got, uint64_t place) {
	s->wrong = (bk_wrong){expected, got, place, 1, stage};
	return 0;
}

// convolution checks a product of polynomials at a point chosen after it was
// computed: a wrong one of degree d agrees at d of the P points at most
// (Schwartz 1980, Zippel 1979), here 2^-54.
NARROW static int convolution(bk_scalar *s, uint64_t seed) {
	uint64_t *a = s->room, *b = a + BK_POINTS / 2, *out = a + BK_POINTS;
	for (int i = 0; i < BK_POINTS; i++) a[i] = bk_mix(seed + (uint64_t)i) % P;
	bk_convolve(s, a, b, out);
	flip(s, BK_FLIP_CONVOLUTION, out, BK_POINTS);
	uint64_t x = bk_mix(seed ^ 0x5bd1e995u) % P;
	uint64_t want = mul(value(a, BK_POINTS / 2, x), value(b, BK_POINTS / 2, x)), got = value(out, BK_POINTS, x);
	return want == got || wrong(s, BK_CONVOLUTION, want, got, x);
}

// sift restores the heap below the place at.
NARROW static void sift(uint64_t *v, int at, int n) {
	uint64_t x = v[at];
	for (int child; (child = 2 * at + 1) < n; at = child) {
		if (child + 1 < n && v[child + 1] > v[child]) child++;
		if (v[child] <= x) break;
		v[at] = v[child];
	}
	v[at] = x;
}

NARROW static uint64_t content(const uint64_t *v) { // does not depend on the order
	uint64_t sum = 0;
	for (int i = 0; i < BK_SORTED; i++) sum += bk_mix(v[i]);
	return sum;
}

NARROW static int sorting(bk_scalar *s, uint64_t seed) {
	uint64_t *v = s->room + 4 * BK_POINTS;
	for (int i = 0; i < BK_SORTED; i++) v[i] = bk_mix(seed + (uint64_t)i);
	uint64_t want = content(v);
	flip(s, BK_FLIP_UNSORTED, v, BK_SORTED);
	for (int i = BK_SORTED / 2; i--;) sift(v, i, BK_SORTED);
	for (int n = BK_SORTED; --n;) {
		uint64_t x = v[0];
		v[0] = v[n];
		v[n] = x;
		sift(v, 0, n);
	}
	flip(s, BK_FLIP_SORTED, v, BK_SORTED);
	for (int i = 1; i < BK_SORTED; i++)
		if (v[i - 1] > v[i]) return wrong(s, BK_ORDER, v[i - 1], v[i], (uint64_t)i);
	uint64_t got = content(v);
	return want == got || wrong(s, BK_CONTENT, want, got, 0);
}

#define STEPS 4096

static inline uint64_t turn(uint64_t x, unsigned n) { return n ? x << n | x >> (64 - n) : x; }

// onward does one instruction of a little machine; every one can be undone,
// so a single wrong state can never run back to the start.
NARROW static inline void onward(uint64_t r[8], uint64_t code) {
	unsigned d = code & 7, a = (d + 1 + (code >> 3) % 7) & 7, n = code >> 8 & 63;
	switch (code >> 16 & 3) {
	case 0: r[d] += turn(r[a], n); break;
	case 1: r[d] ^= r[a] * (code | 1); break;
	case 2: r[d] = turn(r[d], n) * 0x9e3779b97f4a7c15u; break;
	default: r[d] -= r[a] ^ code;
	}
}

NARROW static inline void undo(uint64_t r[8], uint64_t code) {
	unsigned d = code & 7, a = (d + 1 + (code >> 3) % 7) & 7, n = code >> 8 & 63;
	switch (code >> 16 & 3) {
	case 0: r[d] -= turn(r[a], n); break;
	case 1: r[d] ^= r[a] * (code | 1); break;
	case 2: r[d] = turn(r[d] * 0xf1de83e19937733du, (64 - n) & 63); break; // inverse of the factor mod 2^64
	default: r[d] += r[a] ^ code;
	}
}

NARROW static int reversal(bk_scalar *s, uint64_t seed) {
	uint64_t r[8], start[8];
	for (int i = 0; i < 8; i++) r[i] = start[i] = bk_mix(seed ^ (uint64_t)i << 56);
	uint64_t turned = s->fault.site == BK_FLIP_MACHINE ? s->fault.step % STEPS : STEPS;
	for (uint64_t i = 0; i < STEPS; i++) {
		onward(r, bk_mix(seed + i));
		if (__builtin_expect(i == turned, 0)) flip(s, BK_FLIP_MACHINE, r, 8);
	}
	for (uint64_t i = STEPS; i--;) undo(r, bk_mix(seed + i));
	for (int i = 0; i < 8; i++)
		if (r[i] != start[i]) return wrong(s, BK_REVERSAL, start[i], r[i], (uint64_t)i);
	return 1;
}

// bk_scalar_run does rounds until the time, the stop or the most, and ends
// early at a wrong one. It returns how many were right.
uint64_t bk_scalar_run(bk_scalar *s, int64_t until, const volatile int32_t *stop, uint64_t most) {
	uint64_t done = 0;
	do {
		uint64_t seed = bk_mix(s->seed++);
		int right = convolution(s, seed) && sorting(s, seed + (1u << 20)) && reversal(s, seed + (1u << 21));
		s->fault.site = 0;
		if (!right) return done;
		done++;
	} while (done < most && !*stop && bk_now() < until);
	return done;
}
