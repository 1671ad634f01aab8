package march

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// cells are four words of one bit.
var cells = []Cell{{Word: 0}, {Word: 1}, {Word: 2}, {Word: 3}}

// contents are all contents of four cells. The other bits of the words are
// as in no fault.
func contents() [][]uint64 {
	var out [][]uint64
	for n := range uint64(16) {
		out = append(out, []uint64{n & 1, n >> 1 & 1, n >> 2 & 1, n >> 3 & 1})
	}
	return out
}

// Published claims: MATS+ finds all stuck-at faults and faults of the address
// decoder, March C- all transition and unlinked coupling faults too (van de
// Goor 1993), March SS all simple static faults (Hamdioui et al. 2002). The
// counts in between were found by another exhaustive simulation, of four
// cells from all sixteen contents, in which elements of any order had to find
// the fault both ways.
func TestCoverageTable(t *testing.T) {
	for _, row := range []struct {
		class           Class
		total           int
		mats, minus, ss int
	}{
		{StuckAt, 8, 8, 8, 8},
		{AddressDecoder, 56, 56, 56, 56},
		{Transition, 8, 4, 8, 8},
		{CouplingInversion, 24, 18, 24, 24},
		{CouplingIdempotent, 48, 18, 48, 48},
		{CouplingState, 48, 36, 48, 48},
		{ReadDestructive, 8, 8, 8, 8},
		{DeceptiveRead, 8, 0, 0, 8},
		{WriteDisturb, 8, 0, 0, 8},
		{IncorrectRead, 8, 8, 8, 8},
		{CouplingTransition, 48, 12, 48, 48},
		{CouplingWriteDisturb, 48, 0, 0, 48},
		{CouplingDeceptiveRead, 48, 0, 0, 48},
		{CouplingDisturbedByRead, 48, 18, 48, 48},
		{CouplingDisturbedByWrite, 48, 0, 0, 48},
	} {
		faults := Enumerate(row.class, cells)
		require.Len(t, faults, row.total, row.class)
		require.Equal(t, row.mats, found(MATSPlus(), faults), "MATS+, %s", row.class)
		require.Equal(t, row.minus, found(CMinus(), faults), "March C-, %s", row.class)
		require.Equal(t, row.ss, found(SS(), faults), "March SS, %s", row.class)
	}
}

func found(test Test, faults []Fault) int {
	n := 0
	for _, f := range faults {
		if test.Detects(f, make([]uint64, 4), contents()) {
			n++
		}
	}
	return n
}

func ExampleTest_Detects() {
	starts := [][]uint64{{0, 0}, {1, 1}}
	faults := Enumerate(Transition, []Cell{{Word: 0}, {Word: 1}})
	for _, test := range []Test{MATSPlus(), CMinus()} {
		n := 0
		for _, f := range faults {
			if test.Detects(f, []uint64{0, 0}, starts) {
				n++
			}
		}
		fmt.Printf("%d of %d by %v\n", n, len(faults), test)
	}
	// Output:
	// 2 of 4 by A(w0) U(r0,w1) D(r1,w0)
	// 4 of 4 by A(w0) U(r0,w1) U(r1,w0) D(r0,w1) D(r1,w0) A(r0)
}
