package memtiming

import (
	"fmt"
	"math"
	"math/bits"
)

// BitError is one wrong word that a memory check found.
type BitError struct {
	Address  uint64 // in bytes, as the check counts
	Expected uint64
	Got      uint64
}

// Pattern names what found errors have in common.
type Pattern string

// The patterns, from the most to the least special.
const (
	NoErrors      Pattern = "none"
	TooFew        Pattern = "too-few"        // nothing to tell yet
	SingleAddress Pattern = "single-address" // always the same word
	OneBitLine    Pattern = "one-bit-line"   // always the same bit, at many addresses
	OneChip       Pattern = "one-chip"       // always the same 8 bits
	OneHalf       Pattern = "one-half"       // always the same half of the word
	OneRegion     Pattern = "one-region"     // always the same small part of the memory
	Everywhere    Pattern = "everywhere"
)

// Suspicion is what the errors suggest. Which bits belong to which chip and
// module depends on the board, so it is a hint for the next trial, no proof.
type Suspicion struct {
	Pattern  Pattern
	Errors   int
	Bits     []int   // bits that were ever wrong, 0 to 63
	Chance   float64 // chance that errors strewn at random look so alike, 0 to 1
	Sentence string
	Next     string
}

// surprise is how unlikely an accident must be before a pattern is named.
const surprise = 0.01 // chosen: one wrong hint in a hundred

// Interpret looks for what the errors have in common. installed is the memory
// in bytes and bounds the addresses; 0 = not known. Entries whose words agree
// are passed over.
func Interpret(errors []BitError, installed uint64) Suspicion {
	var seen uint64
	addresses := map[uint64]bool{}
	low, high := uint64(math.MaxUint64), uint64(0)
	count := 0
	for _, e := range errors {
		if e.Expected == e.Got {
			continue
		}
		count++
		seen |= e.Expected ^ e.Got
		addresses[e.Address] = true
		low, high = min(low, e.Address), max(high, e.Address)
	}
	s := Suspicion{Errors: count, Chance: 1}
	for b := range 64 {
		if seen>>b&1 == 1 {
			s.Bits = append(s.Bits, b)
		}
	}
	if count == 0 {
		return s.as(NoErrors, "No errors were found.", "Go on.")
	}
	// An error repeated at one address is one witness, not many.
	witnesses := float64(len(addresses))
	alike := func(places float64) bool {
		s.Chance = math.Pow(1/places, witnesses-1)
		return s.Chance <= surprise
	}
	// The range of n strewn addresses is a share f or less with a chance of n·f^(n-1) at most.
	near := func() bool {
		share := math.Max(float64(high-low)/float64(installed), 1e-6)
		s.Chance = math.Min(1, witnesses*math.Pow(share, witnesses-1))
		return s.Chance <= surprise
	}
	byteOf := uint64(0xff) << (bits.TrailingZeros64(seen) / 8 * 8)
	half := uint64(0xffffffff) << (bits.TrailingZeros64(seen) / 32 * 32)
	switch {
	case len(addresses) == 1 && count > 1:
		s.Chance = 0
		return s.as(SingleAddress, "Every error is at the same address: a weak cell, or a disturbed one.",
			"Raise the memory voltage within its limit or loosen tRAS, then repeat. If it stays, test the modules one by one.")
	case len(s.Bits) == 1 && alike(64):
		return s.as(OneBitLine, fmt.Sprintf("Only bit %d is ever wrong: one data line or its contact.", s.Bits[0]),
			"Switch off, unplug and reseat the modules, then repeat.")
	case seen&^byteOf == 0 && alike(8):
		return s.as(OneChip, fmt.Sprintf("Only bits %d to %d are ever wrong: most likely one chip.",
			bits.TrailingZeros64(byteOf), 63-bits.LeadingZeros64(byteOf)),
			"Test the modules one by one, then loosen the last timing changed.")
	case seen&^half == 0 && alike(2):
		return s.as(OneHalf, fmt.Sprintf("Only bits %d to %d are ever wrong: one half of a module or channel.",
			bits.TrailingZeros64(half), 63-bits.LeadingZeros64(half)),
			"Reseat the modules, then test them one by one.")
	case installed > 0 && high < installed && near():
		return s.as(OneRegion, fmt.Sprintf("All errors lie within %.1f %% of the memory: one module or a part of it.",
			100*float64(high-low)/float64(installed)),
			"Test the modules one by one.")
	case len(addresses) < 4:
		s.Chance = 1
		return s.as(TooFew, "Too few errors to see a pattern.", "Go back one step and repeat the check for longer.")
	}
	s.Chance = 1
	return s.as(Everywhere, "Errors are strewn over bits and addresses: a setting, not a part.",
		"Take back the last change. If errors stay, lower the data rate one step.")
}

func (s Suspicion) as(p Pattern, sentence, next string) Suspicion {
	s.Pattern, s.Sentence, s.Next = p, sentence, next
	return s
}
