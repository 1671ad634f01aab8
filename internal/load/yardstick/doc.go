// Package yardstick holds what the loads are measured against: the matrix
// product of an optimised library, if the system has one, and the most that
// the processor does without touching memory. Only benchmarks use it.
package yardstick
