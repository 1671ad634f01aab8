//go:build linux && cgo && amd64

#ifndef BELAY_YARDSTICK_H
#define BELAY_YARDSTICK_H

int ys_open(void);
void ys_dgemm(int n, const double *a, const double *b, double *c);
double ys_registers(int width, long rounds);

#endif
