// One step of the memory check: a stretch of lines, one march element.
// Everything here lies in memory that Go does not manage.
#ifndef BELAY_MEMORY_STEP_H
#define BELAY_MEMORY_STEP_H

#include <stdint.h>

enum {
	BELAY_LINE_WORDS = 8, // 64-bit words of a line: 64 bytes, the unit that memory is asked for
	BELAY_KEPT = 64,      // wrong words described per step; further ones are only counted
	BELAY_READ = 1,
	BELAY_WRITE = 2,
	BELAY_UP = 0,
	BELAY_DOWN = 1,
	BELAY_SCATTERED = 2,
};

// belay_wrong_word describes one word that was not as expected.
typedef struct {
	uint64_t word;   // number of the word in the part
	uint64_t want;
	uint64_t got;
	uint64_t reread; // read again after the line was flushed from the caches
} belay_wrong_word;

typedef struct {
	uint64_t *part; // first line of the part, on a 64-byte border
	uint64_t lines; // lines of the part

	uint64_t from, count; // positions in the order to do now

	// Word i of line n holds hash(n + salt) ^ word[i]; without hashed it
	// holds word[i]. Reads expect and writes put this, xored with the mask.
	uint64_t word[BELAY_LINE_WORDS];
	uint64_t salt;
	int hashed;
	uint64_t read_mask, write_mask;

	int ops;   // BELAY_READ | BELAY_WRITE; a read comes before the write
	int order; // BELAY_UP, BELAY_DOWN, BELAY_SCATTERED

	// Scattered: positions are numbers below 2^bits, which a bijection turns
	// into lines. Those that lie beyond the part are passed over.
	uint64_t multiply[3]; // odd
	uint64_t add;
	int bits; // 2 or more

	uint64_t wrong; // words found wrong
	uint64_t got[BELAY_LINE_WORDS]; // the line that a stretch stopped at
	int kept;
	belay_wrong_word error[BELAY_KEPT];
} belay_step;

// belay_do does a whole step with vectors of at most so many bits. It goes on
// behind a wrong line, which it describes and rewrites as the step says.
void belay_do(belay_step *s, int bits);

// A stretch goes from position k to end and returns end, or the position of
// the first wrong line with what was read in s->got and nothing written to it.
uint64_t belay_stretch_base(belay_step *s, uint64_t k, uint64_t end);
uint64_t belay_stretch_256(belay_step *s, uint64_t k, uint64_t end);
uint64_t belay_stretch_512(belay_step *s, uint64_t k, uint64_t end);

// belay_widest returns the widest vectors in bits that the processor and the
// system offer: 512, 256, or 0 for the narrowest form.
int belay_widest(void);

// belay_hash spreads a number over 64 bits; distinct numbers stay distinct.
// One multiplication, since it is done for each line.
// Source of the constant: 2^64 over the golden ratio, Knuth, The Art of
// Computer Programming 3, 6.4.
static inline uint64_t belay_hash(uint64_t z)
{
	z *= 0x9e3779b97f4a7c15u;
	return z ^ (z >> 32);
}

// belay_scatter turns a position below 2^bits into a number below 2^bits.
// Multiplying by an odd number and xoring with a right shift are both
// bijections, so every number comes once.
static inline uint64_t belay_scatter(const belay_step *s, uint64_t k)
{
	const uint64_t mask = (UINT64_C(1) << s->bits) - 1;
	const int shift = (s->bits + 1) / 2;
	k = (k * s->multiply[0] + s->add) & mask;
	k ^= k >> shift;
	k = (k * s->multiply[1]) & mask;
	k ^= k >> shift;
	return (k * s->multiply[2]) & mask;
}

// belay_line returns the line at a position, or s->lines or more for a
// scattered position that is passed over.
static inline uint64_t belay_line(const belay_step *s, uint64_t k)
{
	switch (s->order) {
	case BELAY_UP:
		return k;
	case BELAY_DOWN:
		return s->lines - 1 - k;
	}
	return belay_scatter(s, k);
}

#endif
