#include "step.h"

#if defined(__x86_64__)
#include <emmintrin.h>
#endif

// Flushing the line makes the second read ask the memory itself. Wrong again:
// it is stored wrong. Right: it went wrong on the way. Other processors have
// no such instruction that a program may always use, so there the caches answer.
static void flush(const uint64_t *p)
{
#if defined(__x86_64__)
	_mm_clflush(p);
	_mm_mfence();
#else
	(void)p;
	__sync_synchronize();
#endif
}

// Describes the wrong words of line n, then writes it if the step does.
static void wrong(belay_step *s, uint64_t n)
{
	const uint64_t hash = s->hashed ? belay_hash(n + s->salt) : 0;
	uint64_t *const line = s->part + n * BELAY_LINE_WORDS;
	flush(line);
	for (int i = 0; i < BELAY_LINE_WORDS; i++) {
		uint64_t want = hash ^ s->word[i] ^ s->read_mask;
		if (s->got[i] == want)
			continue;
		s->wrong++;
		if (s->kept == BELAY_KEPT)
			continue;
		belay_wrong_word *e = &s->error[s->kept++];
		e->word = n * BELAY_LINE_WORDS + i;
		e->want = want;
		e->got = s->got[i];
		e->reread = ((const volatile uint64_t *)line)[i];
	}
	if (s->ops & BELAY_WRITE)
		for (int i = 0; i < BELAY_LINE_WORDS; i++)
			line[i] = hash ^ s->word[i] ^ s->write_mask;
}

void belay_do(belay_step *s, int bits)
{
	s->wrong = 0;
	s->kept = 0;
	const uint64_t end = s->from + s->count;
	for (uint64_t k = s->from; k < end; k++) {
		if (bits >= 512)
			k = belay_stretch_512(s, k, end);
		else if (bits >= 256)
			k = belay_stretch_256(s, k, end);
		else
			k = belay_stretch_base(s, k, end);
		if (k < end)
			wrong(s, belay_line(s, k));
	}
}

int belay_widest(void)
{
#if defined(__x86_64__)
	__builtin_cpu_init(); // also asks whether the system saves the wide registers
	if (__builtin_cpu_supports("avx512f"))
		return 512;
	if (__builtin_cpu_supports("avx2"))
		return 256;
#endif
	return 0;
}
