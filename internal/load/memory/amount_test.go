package memory

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

func TestAmount(t *testing.T) {
	for _, c := range []struct {
		name            string
		available, want int64
	}{
		{"two GiB stay free", 8 * gib, 6 * gib},
		{"a tenth stays free", 60 * gib, 54 * gib},
		{"both are alike", 20 * gib, 18 * gib},
		{"whole huge pages", 3*gib + 12345, gib},
	} {
		got, err := Room{Total: 64 * gib, Available: c.available}.Amount()
		require.NoError(t, err, c.name)
		require.Equal(t, c.want, got, c.name)
	}
	_, err := Room{Total: 4 * gib, Available: 2*gib + 100<<20}.Amount()
	require.True(t, fault.Is(err, fault.Limit), "%v", err)
}

func TestASizeThatLeavesTooLittleIsRefused(t *testing.T) {
	r := Room{Total: 4 * gib, Available: 2 * gib}
	require.NoError(t, r.allow(gib))
	err := r.allow(2 * gib)
	require.True(t, fault.Is(err, fault.Limit))
	require.Contains(t, err.Error(), "The check asks for 2.00 GiB, but only 2.00 GiB are free.")
}

func TestNewRefuses(t *testing.T) {
	for _, o := range []Options{
		{Size: 1 << 20}, {Size: 1 << 20, Workers: -1}, {Size: 1 << 20, Workers: 1025},
		{Size: -1, Workers: 1}, {Size: 100, Workers: 1}, {Size: 1 << 20, Workers: 17},
	} {
		_, err := New(o)
		require.True(t, fault.Is(err, fault.Invalid), "%+v: %v", o, err)
	}
	_, err := New(Options{Size: 1 << 50, Workers: 1})
	require.True(t, fault.Is(err, fault.Limit), "%v", err)
}

func TestPartsCoverTheArea(t *testing.T) {
	for _, size := range []int64{1 << 20, 16*partBytes + pageBytes, 37*hugeBytes + 3*pageBytes, 1<<40 + pageBytes} {
		for _, workers := range []int{1, 2, 3, 7, 16} {
			next := int64(0)
			for _, p := range parts(size, workers) {
				require.Equal(t, next, p.from)
				require.GreaterOrEqual(t, p.size, int64(partBytes)-pageBytes, "%d by %d", size, workers)
				require.Zero(t, p.from%pageBytes)
				next += p.size
			}
			require.Equal(t, size, next)
		}
	}
}

func TestWithoutTheRightToLockTheCheckGoesOn(t *testing.T) {
	c, err := New(Options{Size: 3 * pieceBytes, Workers: 1, Seed: 1})
	require.NoError(t, err)
	asked := 0
	c.lock = func([]byte) error {
		if asked++; asked > 1 {
			return errors.New("limit")
		}
		return nil
	}
	require.NoError(t, c.Prepare(nil))
	require.Equal(t, 2, asked, "not asked again after a refusal")
	require.Equal(t, int64(pieceBytes), c.Stats().Locked)
	for c.Worker(0).phase < 2 {
		c.Worker(0).Step(silent(t))
	}
	require.NoError(t, c.Close())
}
