//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// once runs one unit.
func once(k Kernel, stop *Stop) (uint64, *Wrong) { return k.Run(0, stop, 1) }

func newStop(t testing.TB) *Stop {
	s := NewStop()
	t.Cleanup(s.Free)
	return s
}

func TestCleanRunsFindNothing(t *testing.T) {
	stop := newStop(t)
	for _, width := range Widths() {
		for _, shape := range []Shape{Large, Small, Brief} {
			for seed := range Seeds {
				p, err := NewProduct(width, shape, seed)
				require.NoError(t, err)
				done, wrong := p.Run(math.MaxInt64, stop, 3)
				require.Nil(t, wrong)
				require.EqualValues(t, 3, done, "width %d", width)
				p.Close()
			}
		}
	}
	s := NewScalar(7)
	defer s.Close()
	done, wrong := s.Run(math.MaxInt64, stop, 20)
	require.Nil(t, wrong)
	require.EqualValues(t, 20, done)
	ring := NewCaches(3, 1<<16, 7)
	for range 40 {
		for _, c := range ring {
			done, wrong := once(c, stop)
			require.Nil(t, wrong)
			require.EqualValues(t, 1, done)
		}
	}
	for _, c := range ring {
		require.NotZero(t, c.c.read, "no letter was read")
		c.Close()
	}
}

func TestStopAndTimeEndARun(t *testing.T) {
	s := NewScalar(1)
	defer s.Close()
	stop := newStop(t)
	done, wrong := s.Run(Now(), stop, math.MaxUint64)
	require.Nil(t, wrong)
	require.EqualValues(t, 1, done, "at least one unit, then the time is seen")
	stop.Raise()
	require.True(t, stop.Raised())
	done, wrong = s.Run(math.MaxInt64, stop, math.MaxUint64)
	require.Nil(t, wrong)
	require.EqualValues(t, 1, done)
	require.Less(t, Gate(math.MaxInt64, stop), int64(math.MaxInt64), "a raised stop opens the gate")
}

func TestBadChoicesAreRefused(t *testing.T) {
	for _, c := range []struct {
		width int
		shape Shape
		seed  int
	}{{64, Large, 0}, {128, Shape{96, 96, 255}, 0}, {128, Large, Seeds}, {128, Large, -1}} {
		_, err := NewProduct(c.width, c.shape, c.seed)
		require.Error(t, err)
	}
}
