// One tile of the product at one vector width. Included once for each width,
// with: NAME(x), TARGET, VEC, BITS (the same as whole numbers), LANES, ROWS
// (vectors), COLUMNS, SPREAD (one number to all lanes), MADD(a, b, c), ANY,
// HOLD (the value and the address in an order that the compiler cannot change).
//
// Each element is one chain c = a b + c over k from zero upwards, so every
// fused width gives the same bits, whatever the shape of its tile.

TARGET static inline __attribute__((always_inline)) void NAME(chain)(const double *a, const double *b, int k, VEC acc[COLUMNS][ROWS]) {
	for (int p = 0; p < k; p++, a += ROWS * LANES, b += COLUMNS) {
		VEC x[ROWS];
#pragma GCC unroll 8
		for (int r = 0; r < ROWS; r++) x[r] = *(const VEC *)(a + r * LANES);
#pragma GCC unroll 8
		for (int c = 0; c < COLUMNS; c++) {
			VEC y = SPREAD(b + c);
#pragma GCC unroll 8
			for (int r = 0; r < ROWS; r++) acc[c][r] = MADD(x[r], y, acc[c][r]);
		}
	}
}

TARGET static inline __attribute__((always_inline)) void NAME(load)(const double *from, VEC acc[COLUMNS][ROWS]) {
#pragma GCC unroll 8
	for (int c = 0; c < COLUMNS; c++)
#pragma GCC unroll 8
		for (int r = 0; r < ROWS; r++) acc[c][r] = from ? *(const VEC *)(from + (c * ROWS + r) * LANES) : (VEC){0};
}

TARGET static inline __attribute__((always_inline)) void NAME(store)(double *to, VEC acc[COLUMNS][ROWS]) {
#pragma GCC unroll 8
	for (int c = 0; c < COLUMNS; c++)
#pragma GCC unroll 8
		for (int r = 0; r < ROWS; r++) *(VEC *)(to + (c * ROWS + r) * LANES) = acc[c][r];
}

// check compares the accumulators with the known tile while they are still in
// registers, and hands them out only if a bit differs. It sees them as whole
// numbers from here on, because a second view of them would need registers.
TARGET static inline __attribute__((always_inline)) int NAME(check)(const double *gold, double *got, VEC acc[COLUMNS][ROWS]) {
	BITS done[COLUMNS][ROWS], diff = {0};
#pragma GCC unroll 8
	for (int c = 0; c < COLUMNS; c++)
#pragma GCC unroll 8
		for (int r = 0; r < ROWS; r++) {
			done[c][r] = (BITS)acc[c][r];
			diff |= done[c][r] ^ *(const BITS *)(gold + (c * ROWS + r) * LANES);
			HOLD(diff, gold);
		}
	if (__builtin_expect(!ANY(diff), 1)) return 0;
#pragma GCC unroll 8
	for (int c = 0; c < COLUMNS; c++)
#pragma GCC unroll 8
		for (int r = 0; r < ROWS; r++) *(BITS *)(got + (c * ROWS + r) * LANES) = done[c][r];
	return 1;
}

TARGET static __attribute__((noinline)) int NAME(tile)(const double *a, const double *b, int k, const double *gold, double *got) {
	VEC acc[COLUMNS][ROWS];
	NAME(load)(0, acc);
	NAME(chain)(a, b, k, acc);
	return NAME(check)(gold, got, acc);
}

// plain is the same product without the check: what the check costs is the
// difference. It also makes the first half of a chain that a test disturbs.
TARGET static __attribute__((noinline)) void NAME(plain)(const double *a, const double *b, int k, double *got) {
	VEC acc[COLUMNS][ROWS];
	NAME(load)(0, acc);
	NAME(chain)(a, b, k, acc);
	NAME(store)(got, acc);
}

// resume goes on from accumulators that a test has disturbed.
TARGET static __attribute__((noinline)) int NAME(resume)(const double *a, const double *b, int k, const double *gold, double *got) {
	VEC acc[COLUMNS][ROWS];
	NAME(load)(got, acc);
	NAME(chain)(a, b, k, acc);
	return NAME(check)(gold, got, acc);
}

#undef NAME
#undef TARGET
#undef VEC
#undef BITS
#undef LANES
#undef ROWS
#undef COLUMNS
#undef SPREAD
#undef MADD
#undef ANY
#undef HOLD
