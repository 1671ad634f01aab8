#include "step.h"

#define STRETCH belay_stretch_256

#if defined(__x86_64__)
#include <immintrin.h>
#define PASS pass_256
#define TARGET __attribute__((target("avx2")))
#define V __m256i
#define LANES 4
#define LOAD(p) _mm256_load_si256((const __m256i *)(p))
#define LOADU(p) _mm256_loadu_si256((const __m256i *)(p))
#define STORE(p, v) _mm256_store_si256((__m256i *)(p), v)
#define STOREU(p, v) _mm256_storeu_si256((__m256i *)(p), v)
#define STREAM(p, v) _mm256_stream_si256((__m256i *)(p), v)
#define XOR(a, b) _mm256_xor_si256(a, b)
#define OR(a, b) _mm256_or_si256(a, b)
#define SPREAD(x) _mm256_set1_epi64x((long long)(x))
#define DIFFERS(v) (!_mm256_testz_si256(v, v))
#define FENCE() _mm_sfence()
#include "kernel.h"
#else
uint64_t STRETCH(belay_step *s, uint64_t k, uint64_t end) { return belay_stretch_base(s, k, end); }
#endif
