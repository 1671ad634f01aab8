//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

// A load that dies says where: one line that names the signal and the core,
// written by the thread that was hit, and exit code 70.

#define _GNU_SOURCE
#include "kernel.h"

#include <stdlib.h>

enum { EXIT_CRASHED = 70 }; // EX_SOFTWARE of sysexits.h

static int watch_fd = 1;
static __thread int my_core = -1;

void bk_name_core(int core) { my_core = core; }

static char *text(char *to, const char *s) {
	while (*s) *to++ = *s++;
	return to;
}

static char *number(char *to, int64_t v) {
	char digits[24];
	int n = 0;
	uint64_t u = v < 0 ? 0 - (uint64_t)v : (uint64_t)v;
	if (v < 0) *to++ = '-';
	do digits[n++] = (char)('0' + u % 10);
	while (u /= 10);
	while (n) *to++ = digits[--n];
	return to;
}

// line writes what a signal handler may: no allocation, no locks. It begins
// with a line feed, in case another line was being written.
static int line(char *to, const char *what, int64_t code, int64_t sub, uint64_t address) {
	char *at = text(to, "\n{\"t\":\"crash\",\"what\":\"");
	at = text(at, what);
	at = number(text(at, "\",\"code\":"), code);
	at = number(text(at, ",\"sub\":"), sub);
	at = number(text(at, ",\"core\":"), my_core);
	at = text(at, ",\"address\":\"0x");
	for (int i = 60; i >= 0; i -= 4) *at++ = "0123456789abcdef"[address >> i & 15];
	at = text(at, "\"}\n");
	return (int)(at - to);
}

#ifdef _WIN32
#include <windows.h>

static const char *name_of(DWORD code) {
	switch (code) {
	case EXCEPTION_ILLEGAL_INSTRUCTION: return "illegal instruction";
	case EXCEPTION_ACCESS_VIOLATION: return "bad address";
	case EXCEPTION_IN_PAGE_ERROR: return "memory error";
	case EXCEPTION_INT_DIVIDE_BY_ZERO: return "arithmetic fault";
	case EXCEPTION_PRIV_INSTRUCTION: return "illegal instruction";
	case EXCEPTION_DATATYPE_MISALIGNMENT: return "bad address";
	}
	return 0;
}

static LONG CALLBACK crashed(EXCEPTION_POINTERS *e) {
	const char *what = name_of(e->ExceptionRecord->ExceptionCode);
	if (!what || my_core < 0) return EXCEPTION_CONTINUE_SEARCH;
	char buffer[256];
	DWORD written;
	int n = line(buffer, what, (int64_t)e->ExceptionRecord->ExceptionCode, 0, (uint64_t)(uintptr_t)e->ExceptionRecord->ExceptionAddress);
	WriteFile(GetStdHandle(STD_OUTPUT_HANDLE), buffer, (DWORD)n, &written, NULL);
	TerminateProcess(GetCurrentProcess(), EXIT_CRASHED);
	return EXCEPTION_CONTINUE_SEARCH;
}

int bk_watch_crashes(int fd) {
	watch_fd = fd;
	return AddVectoredExceptionHandler(1, crashed) ? 0 : -1;
}

#else
#include <signal.h>
#include <string.h>
#include <unistd.h>

static const int watched[] = {SIGILL, SIGSEGV, SIGBUS, SIGFPE, SIGABRT, SIGTRAP};
static const char *const names[] = {"illegal instruction", "bad address", "memory error", "arithmetic fault", "abort", "trap"};
enum { WATCHED = sizeof watched / sizeof *watched };
static struct sigaction before[WATCHED];

// crashed speaks for threads of the load; any other thread keeps what Go does.
static void crashed(int signal, siginfo_t *info, void *context) {
	int i = 0;
	while (i < WATCHED && watched[i] != signal) i++;
	if (my_core < 0 && i < WATCHED) {
		if (before[i].sa_flags & SA_SIGINFO)
			before[i].sa_sigaction(signal, info, context);
		else if (before[i].sa_handler != SIG_IGN && before[i].sa_handler != SIG_DFL)
			before[i].sa_handler(signal);
		else {
			sigaction(signal, &before[i], 0);
			raise(signal);
		}
		return;
	}
	char buffer[256];
	int n = line(buffer, i < WATCHED ? names[i] : "signal", signal, info->si_code, (uint64_t)(uintptr_t)info->si_addr);
	ssize_t ignored = write(watch_fd, buffer, (size_t)n);
	(void)ignored;
	_exit(EXIT_CRASHED);
}

// bk_watch_crashes comes after Go has set its own handlers, and keeps them.
int bk_watch_crashes(int fd) {
	watch_fd = fd;
	for (int i = 0; i < WATCHED; i++) {
		struct sigaction mine;
		memset(&mine, 0, sizeof mine);
		mine.sa_sigaction = crashed;
		mine.sa_flags = SA_SIGINFO | SA_ONSTACK;
		sigfillset(&mine.sa_mask);
		if (sigaction(watched[i], &mine, &before[i])) return -1;
	}
	return 0;
}
#endif

// bk_die ends the calling thread's luck in one of the ways of a bad core.
void bk_die(int how) {
	switch (how) {
	case 0: __builtin_trap();
	case 1: {
		volatile uintptr_t nowhere = 16;
		*(volatile int *)nowhere = 1;
		break;
	}
#ifndef _WIN32
	case 2: raise(SIGBUS); break;
	case 3: raise(SIGFPE); break;
#endif
	default: abort();
	}
}
