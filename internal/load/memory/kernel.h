// The body of a stretch, included once for each width with these macros set:
// STRETCH the function's name, PASS that of its body, TARGET its attribute, V
// a vector, LANES its 64-bit words, and LOAD LOADU STORE STOREU STREAM XOR OR
// SPREAD DIFFERS FENCE on it.
//
// The loop calls nothing, so no wide vector is ever kept on the stack:
// compilers for Windows align the stack to 16 bytes only.

#define PARTS (BELAY_LINE_WORDS / LANES)

// Reads ask for memory this many lines ahead; chosen: the best of 6 to 24 in
// both ways on the machine of docs/loads-memory.md, where it is worth a fifth.
// To ask for a line beyond the area does nothing.
#define NEAR 14
#define FAR 32 // the same for the scattered order

static inline __attribute__((always_inline)) TARGET uint64_t
PASS(belay_step *s, uint64_t k, const uint64_t end, const int ops, const int hashed, const int order)
{
	V want[PARTS], put[PARTS];
	for (int i = 0; i < PARTS; i++) {
		V w = LOADU(s->word + i * LANES);
		want[i] = XOR(w, SPREAD(s->read_mask));
		put[i] = XOR(w, SPREAD(s->write_mask));
	}
	uint64_t *const part = s->part;
	const uint64_t lines = s->lines, salt = s->salt;
	for (; k < end; k++) {
		uint64_t n;
		if (order == BELAY_SCATTERED) {
			uint64_t coming = belay_scatter(s, k + FAR);
			if (coming < lines)
				__builtin_prefetch(part + coming * BELAY_LINE_WORDS, 1, 3);
			n = belay_scatter(s, k);
			if (n >= lines)
				continue;
		} else {
			n = order == BELAY_UP ? k : lines - 1 - k;
			if (ops & BELAY_READ) {
				uintptr_t at = (uintptr_t)(part + n * BELAY_LINE_WORDS);
				const uintptr_t ahead = NEAR * BELAY_LINE_WORDS * sizeof *part;
				at = order == BELAY_UP ? at + ahead : at - ahead;
				__builtin_prefetch((const void *)at, 0, 0);
			}
		}
		uint64_t *const p = part + n * BELAY_LINE_WORDS;
		const V hash = SPREAD(hashed ? belay_hash(n + salt) : 0);
		if (ops & BELAY_READ) {
			V got[PARTS], all = SPREAD(0);
			for (int i = 0; i < PARTS; i++) {
				got[i] = LOAD(p + i * LANES);
				V diff = XOR(got[i], want[i]);
				all = OR(all, hashed ? XOR(diff, hash) : diff);
			}
			if (__builtin_expect(DIFFERS(all), 0)) {
				for (int i = 0; i < PARTS; i++)
					STOREU(s->got + i * LANES, got[i]);
				break;
			}
		}
		if (ops & BELAY_WRITE) {
			for (int i = 0; i < PARTS; i++) {
				V v = hashed ? XOR(put[i], hash) : put[i];
				// Only a pure write passes the caches by: after a
				// read the line is in them anyway.
				if (ops & BELAY_READ)
					STORE(p + i * LANES, v);
				else
					STREAM(p + i * LANES, v);
			}
		}
	}
	FENCE();
	return k;
}

#define CASE(ops, hashed, order)                             \
	case (ops) << 3 | (hashed) << 2 | (order):           \
		return PASS(s, k, end, ops, hashed, order)
#define CASES(ops)                         \
	CASE(ops, 0, BELAY_UP);            \
	CASE(ops, 0, BELAY_DOWN);          \
	CASE(ops, 0, BELAY_SCATTERED);     \
	CASE(ops, 1, BELAY_UP);            \
	CASE(ops, 1, BELAY_DOWN);          \
	CASE(ops, 1, BELAY_SCATTERED)

TARGET uint64_t STRETCH(belay_step *s, uint64_t k, uint64_t end)
{
	switch (s->ops << 3 | s->hashed << 2 | s->order) {
		CASES(BELAY_READ);
		CASES(BELAY_WRITE);
		CASES(BELAY_READ | BELAY_WRITE);
	}
	return end;
}
