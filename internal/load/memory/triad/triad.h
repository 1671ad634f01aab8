#ifndef BELAY_TRIAD_H
#define BELAY_TRIAD_H

// belay_triad sets a[i] = b[i] + 3*c[i] for i below n, a multiple of 8, where
// a, b and c follow each other at memory, on a 64-byte border.
void belay_triad(double *memory, long n, int width, int stream);

#endif
