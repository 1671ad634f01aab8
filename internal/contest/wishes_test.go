package contest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/planner"
	"belay/internal/virtualrig"
)

// A wish for little time is kept: fewer hours of search, a closing trial all
// the same, and a word on what another hour would buy.
func TestAWishForLittleTime(t *testing.T) {
	o := options(t, 3, virtualrig.Own, "guided")
	seeds, err := population(o)
	require.NoError(t, err)
	shorter := 0
	for _, seed := range seeds {
		full, brief := newEntry(o, seed), newEntry(o, seed)
		brief.start.Wishes.Hours = 4
		all, some := full.play(strategies[0]), brief.play(strategies[0])
		require.LessOrEqual(t, some.hours, all.hours+0.6, "seed %d: a retry of the closing trial at most", seed)
		if some.hours < all.hours-0.2 {
			shorter++
		}
	}
	require.Positive(t, shorter)
}

func TestTheEndingSaysWhatAnotherHourBuys(t *testing.T) {
	o := options(t, 2, virtualrig.Own, "guided")
	seeds, err := population(o)
	require.NoError(t, err)
	ends := 0
	for _, seed := range seeds {
		e := newEntry(o, seed)
		b := &bout{entry: e, in: e.start}
		for range mostGuided {
			p, end := planner.Next(b.in)
			if end == nil {
				b.run(p.Settings, p.Load, p.Minutes)
				continue
			}
			if !end.Blocked {
				require.True(t, strings.Contains(end.Because, "Another hour of trials"), end.Because)
				ends++
			}
			break
		}
	}
	require.Positive(t, ends)
}

// BenchmarkProposal is the time of one proposal in the middle of a search.
func BenchmarkProposal(b *testing.B) {
	o := options(b, 1, virtualrig.Own, "guided")
	seeds, err := population(o)
	require.NoError(b, err)
	e := newEntry(o, seeds[0])
	t := &bout{entry: e, in: e.start}
	for range 6 {
		if p, end := planner.Next(t.in); end == nil {
			t.run(p.Settings, p.Load, p.Minutes)
		}
	}
	for b.Loop() {
		planner.Next(t.in)
	}
}
