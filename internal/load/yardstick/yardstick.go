//go:build linux && cgo && amd64

package yardstick

// #cgo CFLAGS: -O2 -Wall
// #cgo LDFLAGS: -ldl
// #include "yardstick.h"
import "C"

// Product returns a function that multiplies square matrices of n rows by the
// library, and its operations; ok is false where there is no library.
func Product(n int) (multiply func(), flops float64, ok bool) {
	if C.ys_open() == 0 {
		return nil, 0, false
	}
	a, b, c := make([]float64, n*n), make([]float64, n*n), make([]float64, n*n)
	for i := range a {
		a[i], b[i] = 1+float64(i%97)/97, 1-float64(i%89)/178
	}
	return func() { C.ys_dgemm(C.int(n), (*C.double)(&a[0]), (*C.double)(&b[0]), (*C.double)(&c[0])) }, 2 * float64(n) * float64(n) * float64(n), true
}

// Registers does rounds of work in registers only, at a vector width in bits,
// and returns its operations.
func Registers(width int, rounds int) (flops float64) {
	C.ys_registers(C.int(width), C.long(rounds))
	return float64(rounds) * 12 * 2 * float64(width) / 64
}
