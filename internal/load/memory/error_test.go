package memory

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/memtiming"
)

func TestFindingsTellTheBitLanes(t *testing.T) {
	var f Findings
	for i := range int64(20) {
		e := Error{Offset: 4096 * i, Expected: 0x5555555555555555}
		e.Got = e.Expected ^ 1<<13
		e.Reread = e.Got
		if i%2 == 0 {
			e.Reread = e.Expected
		}
		require.Equal(t, uint64(1)<<13, e.Xor())
		require.Equal(t, i%2 == 1, e.Stored())
		f.Add(e)
	}
	require.Equal(t, int64(20), f.Lanes[13])
	require.Equal(t, int64(10), f.Stored)
	s := f.Suspicion()
	require.Equal(t, memtiming.OneBitLine, s.Pattern)
	require.Equal(t, []int{13}, s.Bits)
	f.Add(Error{Offset: 1 << 40, Expected: 0, Got: 3 << 62})
	require.Equal(t, int64(1), f.Lanes[63])
	require.Equal(t, []int{13, 62, 63}, f.Suspicion().Bits)
}

// Errors close together in the area need not be close in a module.
func TestNoRegionIsEverSuspected(t *testing.T) {
	var f Findings
	for i := range int64(50) {
		f.Add(Error{Offset: 8 * i, Got: 1 << (i * 7 % 64)})
	}
	require.Equal(t, memtiming.Everywhere, f.Suspicion().Pattern)
}

func TestFindingsStaySmall(t *testing.T) {
	var f Findings
	for i := range int64(keptErrors + 5) {
		f.Add(Error{Offset: 8 * i, Got: 1})
	}
	require.Len(t, f.kept, keptErrors)
	require.Equal(t, int64(keptErrors+5), f.Lanes[0])
}
