package march

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// inWord are all cells of one word of a memory of three.
func inWord(word int) []Cell {
	var out []Cell
	for b := range 64 {
		out = append(out, Cell{Word: word, Bit: b})
	}
	return out
}

var starts = [][]uint64{{0, 0, 0}, {^uint64(0), ^uint64(0), ^uint64(0)}, {0x5a, 1 << 40, 0xf0f0f0f0f0f0f0f0}}

// share returns the share of the faults that March C- finds in a memory of
// three words, run once for each background.
func share(faults []Fault, backgrounds [][]uint64) float64 {
	n := 0
	for _, f := range faults {
		for _, b := range backgrounds {
			if CMinus().Detects(f, b, starts) {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(faults))
}

func everywhere(words ...uint64) [][]uint64 {
	var out [][]uint64
	for _, w := range words {
		out = append(out, []uint64{w, w, w})
	}
	return out
}

// Couplings inside a word: 64 x 63 ordered pairs of bits, each of four kinds.
func TestBackgroundsForCouplingsInsideAWord(t *testing.T) {
	dice := rand.New(rand.NewPCG(1, 2))
	byAddress := [][]uint64{{dice.Uint64(), dice.Uint64(), dice.Uint64()}}
	all := Backgrounds()
	for _, class := range []Class{CouplingIdempotent, CouplingState} {
		faults := Enumerate(class, inWord(1))
		require.Len(t, faults, 64*63*4)
		require.Equal(t, 0.5, share(faults, everywhere(0)), "all bits equal: %s", class)
		require.Equal(t, 0.5, share(faults, byAddress), "each word its own: %s", class)
		require.Equal(t, 1.0, share(faults, everywhere(all...)), "all seven: %s", class)
	}
}

// Without any one of the seven, 64 of the 4032 ordered pairs are never seen
// once equal and once different, and half of their faults stay hidden: 99.2 % are found.
func TestNoBackgroundCanBeLeftOut(t *testing.T) {
	faults := Enumerate(CouplingState, inWord(1))
	for left := range Backgrounds() {
		var rest []uint64
		for i, b := range Backgrounds() {
			if i != left {
				rest = append(rest, b)
			}
		}
		require.Equal(t, 1-64.0/(64*63)/2, share(faults, everywhere(rest...)), "without %016x", Backgrounds()[left])
	}
}

// Faults of single cells, of the decoder and between words are found with any
// background: 64-bit words, one bit of each of three words.
func TestAnyBackgroundServesBetweenWords(t *testing.T) {
	lane := []Cell{{Word: 0, Bit: 7}, {Word: 1, Bit: 7}, {Word: 2, Bit: 63}}
	addresses := []Cell{{Word: 0}, {Word: 1}, {Word: 2}}
	dice := rand.New(rand.NewPCG(3, 4))
	for _, b := range append(everywhere(Backgrounds()...), []uint64{dice.Uint64(), dice.Uint64(), dice.Uint64()}) {
		for _, class := range []Class{StuckAt, Transition, CouplingInversion, CouplingIdempotent, CouplingState} {
			require.Equal(t, 1.0, share(Enumerate(class, lane), [][]uint64{b}), "%s with %x", class, b)
		}
		require.Equal(t, 1.0, share(Enumerate(AddressDecoder, addresses), [][]uint64{b}), "decoder with %x", b)
	}
}
