//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// What Go calls. Times are nanoseconds of the monotonic clock, bits are raw
// IEEE 754 patterns. C keeps no pointer into Go's memory.
#ifndef BELAY_KERNEL_H
#define BELAY_KERNEL_H

#include <stddef.h>
#include <stdint.h>

#define BK_LINE 64 // bytes of a cache line on every processor that is built for

// A wrong result as a kernel saw it.
typedef struct {
	uint64_t expected, got;
	uint64_t place; // product: row<<32 | column; others: see the stage
	uint32_t count; // wrong results in this pass
	uint32_t stage; // which check failed, see the kernel
} bk_wrong;

// A flip that a test has asked for. site 0 is none.
typedef struct {
	uint32_t site, bit;
	uint64_t index, step;
} bk_fault;

// product.c: C = A B in packed panels, compared with the known result bit by bit.
typedef struct {
	int32_t width; // 128, 256 or 512
	int32_t m, n, k;
	double *a, *b, *gold; // panels of rows, panels of columns, tiles
	double *got;          // room for one tile
	bk_fault fault;
	bk_wrong wrong;
} bk_product;

void bk_product_tile(int width, int *rows, int *columns, int *lanes);
int bk_width_works(int width);
int bk_fused(int width);
uint64_t bk_product_run(bk_product *p, int64_t until, const volatile int32_t *stop, uint64_t most, int checked);

// scalar.c: whole numbers only, fresh data in every round.
typedef struct {
	uint64_t seed;
	uint64_t *room; // BK_SCALAR_WORDS words
	bk_fault fault;
	bk_wrong wrong;
} bk_scalar;

#define BK_POINTS 1024 // length of the transform: 8 KiB a vector, three fit a 32 KiB cache
#define BK_SORTED 2048 // numbers to sort
#define BK_SCALAR_WORDS (4 * BK_POINTS + BK_SORTED)

enum { BK_CONVOLUTION = 1, BK_ORDER, BK_CONTENT, BK_REVERSAL };
enum { BK_FLIP_TRANSFORM = 1, BK_FLIP_CONVOLUTION, BK_FLIP_UNSORTED, BK_FLIP_SORTED, BK_FLIP_MACHINE };

void bk_scalar_init(bk_scalar *s);
uint64_t bk_scalar_run(bk_scalar *s, int64_t until, const volatile int32_t *stop, uint64_t most);
uint64_t bk_mulmod(uint64_t a, uint64_t b);
void bk_convolve(bk_scalar *s, const uint64_t *a, const uint64_t *b, uint64_t *out);

// cache.c: walks over lines that are tagged and written, and mail between cores.
typedef struct {
	uint64_t next, tag, lap, fill[5];
} bk_node;

typedef struct {
	uint64_t turn; // even: empty, odd: full
	uint64_t text[7];
} bk_mail;

typedef struct {
	uint64_t seed, count, lap; // count is a multiple of BK_WALKERS
	bk_node *nodes;
	uint64_t start[9]; // where each walker begins; the ninth is the first again
	bk_mail *out, *in; // BK_SLOTS each; the same when a core is alone
	uint64_t sent, read;
	bk_fault fault;
	bk_wrong wrong;
} bk_cache;

#define BK_WALKERS 8
#define BK_SLOTS 8
enum { BK_TAG = 1, BK_LAP, BK_FILL, BK_END, BK_MAIL };

uint64_t bk_cache_run(bk_cache *c, int64_t until, const volatile int32_t *stop, uint64_t most);
uint64_t bk_mix(uint64_t x);
uint64_t bk_tag(const bk_cache *c, uint64_t index, uint64_t next);
void bk_fill(bk_node *n, uint64_t tag, uint64_t lap);

// thread.c
int64_t bk_now(void);
int64_t bk_thread_cpu(void);
int bk_pin(int core);
int bk_nice(int level);
int64_t bk_gate(int64_t at, const volatile int32_t *stop); // sleeps, then spins; returns when it opened
void bk_cache_sizes(int64_t *level1, int64_t *level2, int64_t *level3);
unsigned bk_rounding(void);

// crash.c
int bk_watch_crashes(int fd);
void bk_name_core(int core); // -1: this thread is none of the load's
void bk_die(int how);        // for tests

#endif
