//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// Time, cores and what the processor says of itself.

#define _GNU_SOURCE
#include "kernel.h"

#ifdef _WIN32
#include <windows.h>

int64_t bk_now(void) {
	static LARGE_INTEGER per;
	LARGE_INTEGER t;
	if (per.QuadPart == 0) QueryPerformanceFrequency(&per);
	QueryPerformanceCounter(&t);
	return t.QuadPart / per.QuadPart * 1000000000 + t.QuadPart % per.QuadPart * 1000000000 / per.QuadPart;
}

int64_t bk_thread_cpu(void) {
	FILETIME made, ended, kernel, user;
	if (!GetThreadTimes(GetCurrentThread(), &made, &ended, &kernel, &user)) return 0;
	uint64_t k = (uint64_t)kernel.dwHighDateTime << 32 | kernel.dwLowDateTime;
	uint64_t u = (uint64_t)user.dwHighDateTime << 32 | user.dwLowDateTime;
	return (int64_t)(k + u) * 100;
}

// Cores are counted through the processor groups, each of at most 64.
int bk_pin(int core) {
	WORD groups = GetActiveProcessorGroupCount();
	for (WORD g = 0; g < groups; g++) {
		int n = (int)GetActiveProcessorCount(g);
		if (core < n) {
			GROUP_AFFINITY a = {(KAFFINITY)1 << core, g, {0}};
			return SetThreadGroupAffinity(GetCurrentThread(), &a, NULL) ? 0 : (int)GetLastError();
		}
		core -= n;
	}
	return -1;
}

int bk_nice(int level) {
	DWORD class = level > 0 ? BELOW_NORMAL_PRIORITY_CLASS : NORMAL_PRIORITY_CLASS;
	return SetPriorityClass(GetCurrentProcess(), class) ? 0 : (int)GetLastError();
}

static void nap(int64_t ns) { Sleep((DWORD)(ns / 1000000)); }

#else
#include <errno.h>
#include <sys/resource.h>
#include <time.h>

static int64_t clock_of(clockid_t id) {
	struct timespec t;
	clock_gettime(id, &t);
	return t.tv_sec * (int64_t)1000000000 + t.tv_nsec;
}

int64_t bk_now(void) { return clock_of(CLOCK_MONOTONIC); }
int64_t bk_thread_cpu(void) { return clock_of(CLOCK_THREAD_CPUTIME_ID); }

#ifdef __linux__
#include <sched.h>

int bk_pin(int core) {
	size_t size = CPU_ALLOC_SIZE(core + 1);
	cpu_set_t *set = CPU_ALLOC(core + 1);
	if (!set) return ENOMEM;
	CPU_ZERO_S(size, set);
	CPU_SET_S(core, size, set);
	int failed = sched_setaffinity(0, size, set) ? errno : 0;
	CPU_FREE(set);
	return failed;
}
#else
int bk_pin(int core) { return ENOSYS; }
#endif

int bk_nice(int level) { return setpriority(PRIO_PROCESS, 0, level) ? errno : 0; }

static void nap(int64_t ns) {
	struct timespec t = {ns / 1000000000, ns % 1000000000};
	nanosleep(&t, 0);
}
#endif

static inline void breathe(void) {
#if defined(__x86_64__)
	__builtin_ia32_pause();
#elif defined(__aarch64__)
	__asm__ volatile("yield");
#endif
}

// The last part of a wait is spun, because a sleep ends late. Chosen: 1.5 ms.
#define SPUN 1500000
#define NAP 50000000 // ns between two looks at stop

int64_t bk_gate(int64_t at, const volatile int32_t *stop) {
	int64_t now;
	while ((now = bk_now()) < at && !*stop) {
		int64_t left = at - now - SPUN;
		if (left > 0)
			nap(left < NAP ? left : NAP);
		else
			for (int i = 0; i < 8; i++) breathe();
	}
	return now;
}

#ifdef __x86_64__
#include <cpuid.h>
#include <immintrin.h>

// bk_cache_sizes reads the deterministic cache parameters, leaf 4 or its twin
// in the extended range. Unknown sizes stay 0.
void bk_cache_sizes(int64_t *level1, int64_t *level2, int64_t *level3) {
	*level1 = *level2 = *level3 = 0;
	unsigned a, b, c, d, leaves[] = {4, 0x8000001d};
	for (int l = 0; l < 2 && !*level2; l++)
		for (unsigned i = 0; i < 16; i++) {
			if (!__get_cpuid_count(leaves[l], i, &a, &b, &c, &d) || (a & 31) == 0) break;
			int64_t size = (int64_t)((b >> 22) + 1) * ((b >> 12 & 1023) + 1) * ((b & 4095) + 1) * ((int64_t)c + 1);
			int level = a >> 5 & 7, data = (a & 31) != 2;
			if (level == 1 && data) *level1 = size;
			if (level == 2) *level2 = size;
			if (level == 3) *level3 = size;
		}
}

// bk_rounding gives the rounding and flush modes without the sticky flags. A
// library that changes them on a thread would change results.
unsigned bk_rounding(void) { return _mm_getcsr() & ~0x3fu; }
#else
void bk_cache_sizes(int64_t *level1, int64_t *level2, int64_t *level3) { *level1 = *level2 = *level3 = 0; }
unsigned bk_rounding(void) { return 0x1f80; }
#endif
