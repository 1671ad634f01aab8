package virtualrig

import (
	"math"
	"math/rand/v2"
)

// Streams of chance. Each purpose has its own, so that a new draw for one
// purpose never moves the draws of another.
const (
	streamParts uint64 = iota + 1
	streamQuirks
	streamLaw
	streamFate
	streamMeter
	streamScore
)

// dice is a seeded source of draws.
type dice struct{ *rand.Rand }

// newDice returns the stream that belongs to these keys, in this order.
func newDice(keys ...uint64) dice {
	var a, b uint64 = 0x9e3779b97f4a7c15, 0xd1b54a32d192ed03
	for _, k := range keys {
		a = scramble(a ^ k)
		b = scramble(b + a)
	}
	return dice{rand.New(rand.NewPCG(a, b))}
}

// scramble is the finishing step of SplitMix64.
// Source: Steele, Lea & Flood, OOPSLA 2014 (constants from memory).
func scramble(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9
	x = (x ^ (x >> 27)) * 0x94d049bb133111eb
	return x ^ (x >> 31)
}

// between draws evenly from [lo, hi).
func (d dice) between(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// normal draws from a normal distribution and clips it to [lo, hi].
func (d dice) normal(mean, sd, lo, hi float64) float64 {
	return min(max(mean+sd*d.NormFloat64(), lo), hi)
}

// chance is true with probability p.
func (d dice) chance(p float64) bool { return d.Float64() < p }

// pick draws one of the choices evenly.
func pick[T any](d dice, choices ...T) T { return choices[d.IntN(len(choices))] }

// quantise rounds x to a whole number of steps.
func quantise(x, step float64) float64 { return math.Round(x/step) * step }

// number folds a word into a stream key (FNV-1a, 64 bits).
func number(word string) uint64 {
	var h uint64 = 0xcbf29ce484222325
	for i := range len(word) {
		h = (h ^ uint64(word[i])) * 0x100000001b3
	}
	return h
}
