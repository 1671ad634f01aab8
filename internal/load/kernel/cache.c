//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// The cache load: eight walkers on one random cycle of lines, each of which is
// checked and written again, and mail that is passed between the cores.

#include "kernel.h"

uint64_t bk_tag(const bk_cache *c, uint64_t index, uint64_t next) { return bk_mix(c->seed ^ index << 32 ^ next); }

void bk_fill(bk_node *n, uint64_t tag, uint64_t lap) {
	n->lap = lap;
	for (int i = 0; i < 5; i++) n->fill[i] = tag * (2 * (uint64_t)i + 1) + lap;
}

static int wrong(bk_cache *c, uint32_t stage, uint64_t expected, uint64_t got, uint64_t place) {
	c->wrong = (bk_wrong){expected, got, place, 1, stage};
	return 0;
}

// step checks the line at index, writes it again and gives the next index.
static inline int step(bk_cache *c, uint64_t *index) {
	bk_node *n = &c->nodes[*index];
	uint64_t next = n->next, tag = bk_tag(c, *index, next);
	if (__builtin_expect(n->tag != tag, 0)) return wrong(c, BK_TAG, tag, n->tag, *index);
	if (__builtin_expect(n->lap != c->lap, 0)) return wrong(c, BK_LAP, c->lap, n->lap, *index);
	uint64_t bad = 0;
	for (int i = 0; i < 5; i++) bad |= n->fill[i] ^ (tag * (2 * (uint64_t)i + 1) + c->lap);
	if (__builtin_expect(bad != 0, 0))
		for (int i = 0; i < 5; i++) {
			uint64_t want = tag * (2 * (uint64_t)i + 1) + c->lap;
			if (n->fill[i] != want) return wrong(c, BK_FILL, want, n->fill[i], *index);
		}
	bk_fill(n, tag, c->lap + 1);
	*index = next;
	return 1;
}

// post passes one letter on and reads one. A full or an empty slot is passed
// over, so that a neighbour that stands still cannot hold this core up.
static int post(bk_cache *c) {
	bk_mail *m = &c->out[c->sent % BK_SLOTS];
	uint64_t round = 2 * (c->sent / BK_SLOTS);
	if (__atomic_load_n(&m->turn, __ATOMIC_ACQUIRE) == round) {
		for (int i = 0; i < 7; i++) m->text[i] = bk_mix(c->sent * 8 + (uint64_t)i);
		__atomic_store_n(&m->turn, round + 1, __ATOMIC_RELEASE);
		c->sent++;
	}
	m = &c->in[c->read % BK_SLOTS];
	round = 2 * (c->read / BK_SLOTS);
	uint64_t turn = __atomic_load_n(&m->turn, __ATOMIC_ACQUIRE);
	if (turn == round) return 1;
	int right = turn == round + 1 || wrong(c, BK_MAIL, round + 1, turn, c->read);
	for (int i = 0; i < 7 && right; i++) {
		uint64_t want = bk_mix(c->read * 8 + (uint64_t)i);
		if (m->text[i] != want) right = wrong(c, BK_MAIL, want, m->text[i], c->read);
	}
	__atomic_store_n(&m->turn, round + 2, __ATOMIC_RELEASE);
	c->read++;
	return right;
}

// lap walks once over every line.
static int lap(bk_cache *c) {
	uint64_t at[BK_WALKERS];
	for (int w = 0; w < BK_WALKERS; w++) at[w] = c->start[w];
	for (uint64_t i = 0; i < c->count / BK_WALKERS; i++) {
		for (int w = 0; w < BK_WALKERS; w++)
			if (!step(c, &at[w])) return 0;
		if (i % 64 == 0 && !post(c)) return 0;
	}
	for (int w = 0; w < BK_WALKERS; w++)
		if (at[w] != c->start[w + 1]) return wrong(c, BK_END, c->start[w + 1], at[w], (uint64_t)w);
	c->lap++;
	return 1;
}

// strike flips one bit of one word of one line, or of a letter on its way.
static void strike(bk_cache *c) {
	if (c->fault.site == 1) {
		uint64_t *word = (uint64_t *)&c->nodes[c->fault.index % c->count];
		word[c->fault.step % 8] ^= (uint64_t)1 << (c->fault.bit & 63);
	} else if (c->fault.site == 2 && (c->in[c->read % BK_SLOTS].turn & 1)) {
		c->in[c->read % BK_SLOTS].text[c->fault.step % 7] ^= (uint64_t)1 << (c->fault.bit & 63);
	} else if (c->fault.site == 2)
		return; // no letter is waiting yet
	c->fault.site = 0;
}

// bk_cache_run does laps until the time, the stop or the most, and ends early
// at a wrong line. It returns the right laps.
uint64_t bk_cache_run(bk_cache *c, int64_t until, const volatile int32_t *stop, uint64_t most) {
	uint64_t done = 0;
	do {
		if (__builtin_expect(c->fault.site != 0, 0)) strike(c);
		if (!lap(c)) return done;
		done++;
	} while (done < most && !*stop && bk_now() < until);
	return done;
}
