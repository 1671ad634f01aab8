// The kernel's body with loads and stores that are written down. Reads steps
// from standard input and prints what each does: "r word" or "w word value".
#include <stdio.h>
#include <stdlib.h>

#include "../step.h"

static uint64_t *part;

static uint64_t load(const uint64_t *p)
{
	printf("r %ld\n", (long)(p - part));
	return *p;
}

static void store(uint64_t *p, uint64_t v)
{
	printf("w %ld %016llx\n", (long)(p - part), (unsigned long long)v);
	*p = v;
}

#define STRETCH belay_stretch_base
#define PASS pass_trace
#define TARGET
#define V uint64_t
#define LANES 1
#define LOAD(p) load(p)
#define LOADU(p) (*(p))
#define STORE(p, v) store(p, v)
#define STOREU(p, v) (*(p) = (v))
#define STREAM(p, v) store(p, v)
#define XOR(a, b) ((a) ^ (b))
#define OR(a, b) ((a) | (b))
#define SPREAD(x) ((uint64_t)(x))
#define DIFFERS(v) ((v) != 0)
#define FENCE()
#include "../kernel.h"

uint64_t belay_stretch_256(belay_step *s, uint64_t k, uint64_t end) { return belay_stretch_base(s, k, end); }
uint64_t belay_stretch_512(belay_step *s, uint64_t k, uint64_t end) { return belay_stretch_base(s, k, end); }

static uint64_t number(void)
{
	unsigned long long n;
	if (scanf("%llx", &n) != 1)
		exit(0); // no further step
	return n;
}

int main(void)
{
	static belay_step s;
	s.lines = number();
	part = s.part = aligned_alloc(64, s.lines * 64);
	for (;;) {
		s.from = number();
		s.count = number();
		for (int i = 0; i < BELAY_LINE_WORDS; i++)
			s.word[i] = number();
		s.salt = number();
		s.hashed = (int)number();
		s.read_mask = number();
		s.write_mask = number();
		s.ops = (int)number();
		s.order = (int)number();
		for (int i = 0; i < 3; i++)
			s.multiply[i] = number();
		s.add = number();
		s.bits = (int)number();
		belay_do(&s, 0);
		if (s.wrong > 0)
			return 1;
	}
}
