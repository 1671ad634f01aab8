#include "step.h"

#define STRETCH belay_stretch_512

#if defined(__x86_64__)
#include <immintrin.h>
#define PASS pass_512
#define TARGET __attribute__((target("avx512f")))
#define V __m512i
#define LANES 8
#define LOAD(p) _mm512_load_si512(p)
#define LOADU(p) _mm512_loadu_si512(p)
#define STORE(p, v) _mm512_store_si512(p, v)
#define STOREU(p, v) _mm512_storeu_si512(p, v)
#define STREAM(p, v) _mm512_stream_si512((__m512i *)(p), v)
#define XOR(a, b) _mm512_xor_si512(a, b)
#define OR(a, b) _mm512_or_si512(a, b)
#define SPREAD(x) _mm512_set1_epi64((long long)(x))
#define DIFFERS(v) (_mm512_test_epi64_mask(v, v) != 0)
#define FENCE() _mm_sfence()
#include "kernel.h"
#else
uint64_t STRETCH(belay_step *s, uint64_t k, uint64_t end) { return belay_stretch_base(s, k, end); }
#endif
