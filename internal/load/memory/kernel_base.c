#include "step.h"

// The narrowest form: two words at a time where every 64-bit x86 processor
// can, one word elsewhere.
#define STRETCH belay_stretch_base
#define PASS pass_base
#define TARGET

#if defined(__x86_64__)
#include <emmintrin.h>
#define V __m128i
#define LANES 2
#define LOAD(p) _mm_load_si128((const __m128i *)(p))
#define LOADU(p) _mm_loadu_si128((const __m128i *)(p))
#define STORE(p, v) _mm_store_si128((__m128i *)(p), v)
#define STOREU(p, v) _mm_storeu_si128((__m128i *)(p), v)
#define STREAM(p, v) _mm_stream_si128((__m128i *)(p), v)
#define XOR(a, b) _mm_xor_si128(a, b)
#define OR(a, b) _mm_or_si128(a, b)
#define SPREAD(x) _mm_set1_epi64x((long long)(x))
#define DIFFERS(v) (_mm_movemask_epi8(_mm_cmpeq_epi8(v, _mm_setzero_si128())) != 0xffff)
#define FENCE() _mm_sfence()
#else
// Volatile, so that the compiler drops and joins nothing.
#define V uint64_t
#define LANES 1
#define LOAD(p) (*(const volatile uint64_t *)(p))
#define LOADU(p) (*(p))
#define STORE(p, v) (*(volatile uint64_t *)(p) = (v))
#define STOREU(p, v) (*(p) = (v))
#define STREAM(p, v) STORE(p, v)
#define XOR(a, b) ((a) ^ (b))
#define OR(a, b) ((a) | (b))
#define SPREAD(x) ((uint64_t)(x))
#define DIFFERS(v) ((v) != 0)
#define FENCE() __sync_synchronize()
#endif

#include "kernel.h"
