// Package stability turns trials into what a setting needs: a posterior over
// the voltage at which a load lasts ten minutes, how it rises with the ratio,
// and how fast failures grow as voltage falls.
//
// All trials share one curve (docs/models/stability.md):
//
//	hazard per minute = 1/10 exp((need - V)/s)
//	need = a + offset of the load + b d + c d|d| + kT (T - Tref)
//
// with d the distance from the reference ratio in steps of 100 MHz. From the
// posterior follow the need at a confidence, the confidence of a keep, the
// chance that a trial passes, what a planned trial would teach, and how long a
// soak must be. ModelFree is the bound that needs no such curve.
//
// Everything is deterministic: the same trials give the same numbers. Inside,
// voltages are in mV and times in minutes.
package stability
