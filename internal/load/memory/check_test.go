package memory

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// widths are the vector widths that this processor has.
func widths() []int {
	switch wide := widest(); {
	case wide >= 512:
		return []int{0, 256, 512}
	case wide >= 256:
		return []int{0, 256}
	}
	return []int{0}
}

// open returns a prepared check whose parts need several steps per phase.
func open(t testing.TB, workers, width int) *Check {
	c, err := New(Options{Size: int64(workers) * 3 * stepLines * lineBytes / 2, Workers: workers, Seed: 7})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	require.NoError(t, c.Prepare(nil))
	for _, w := range c.workers {
		w.width = width
	}
	return c
}

// silent fails on any error found.
func silent(t *testing.T) func(Error) {
	return func(e Error) { require.Fail(t, "false alarm", "%+v", e) }
}

func TestACleanPassCoversEverythingAndFindsNothing(t *testing.T) {
	for _, width := range widths() {
		t.Run(fmt.Sprint(width), func(t *testing.T) {
			c := open(t, 3, width)
			for _, w := range c.workers {
				moved := int64(0)
				for w.pass < 2 {
					moved += w.Step(silent(t))
				}
				require.Equal(t, 2*w.part.size*c.accesses(), moved)
			}
			s := c.Stats()
			require.Equal(t, s.Given, s.Covered)
			require.Equal(t, 2.0, s.Passes)
			require.Equal(t, 2*s.Given*c.accesses(), s.Moved)
			require.Zero(t, s.Wrong)
			require.Equal(t, int64(96), c.accesses(), "nine marches of ten and one of six")
		})
	}
}

// Twenty thousand flips per width take some seconds more; they run when
// BELAY_LONG is set.
func TestEveryFlippedBitIsFoundWhereItWas(t *testing.T) {
	flips := 1000
	if os.Getenv("BELAY_LONG") != "" {
		flips = 20_000
	}
	for _, width := range widths() {
		t.Run(fmt.Sprint(width), func(t *testing.T) {
			c := open(t, 3, width)
			dice := rand.New(rand.NewPCG(1, uint64(width)))
			seen := map[string]int{}
			for done := 0; done < flips; {
				w := c.Worker(dice.IntN(3))
				p := w.check.phases[w.phase]
				if !p.read {
					w.Step(silent(t))
					continue
				}
				n := dice.Uint64()
				offset, bit, ok := victimOf(w, n|flipAsked)
				require.True(t, ok)
				var found []Error
				w.Spoil(n)
				w.Step(func(e Error) { found = append(found, e) })
				require.Len(t, found, 1)
				e := found[0]
				require.Equal(t, w.number, e.Worker)
				require.Equal(t, w.part.from+offset, e.Offset)
				require.Equal(t, uint64(1)<<bit, e.Xor())
				require.Equal(t, e.Got, e.Reread)
				require.True(t, e.Stored())
				require.Equal(t, p.background.name, e.Background)
				require.Equal(t, p.element, e.Element)
				seen[e.Background]++
				done++
			}
			require.Equal(t, int64(flips), c.Stats().Wrong)
			require.Len(t, seen, 10, "flips in every background")
			t.Logf("%d of %d flips found", flips, flips)
		})
	}
}

// victimOf is the victim of a step that is still to be set up.
func victimOf(w *Worker, n uint64) (int64, int, bool) {
	end := min(w.at+stepLines, w.positions(w.check.phases[w.phase]))
	return w.victim(n, uint64(w.at), uint64(end-w.at))
}

func TestAStormOfErrorsIsCountedAndTheStepGoesOn(t *testing.T) {
	c := open(t, 1, widest())
	w := c.Worker(0)
	for w.phase == 0 {
		w.Step(silent(t))
	}
	for i := range w.bytes() {
		w.bytes()[i] = 0xff
	}
	var first []Error
	w.Step(func(e Error) { first = append(first, e) })
	require.Len(t, first, 64)
	require.Equal(t, int64(8*stepLines), c.Stats().Wrong)
	require.Equal(t, ^uint64(0), first[0].Xor())
	require.Equal(t, int64(0), first[0].Offset)
	require.Equal(t, int64(8*63), first[63].Offset)
	for w.phase == 1 { // the rest of the element
		w.Step(func(Error) {})
	}
	wrong := c.Stats().Wrong
	require.Equal(t, w.part.size/8, wrong)
	for w.phase == 2 { // what was wrong has been rewritten
		w.Step(silent(t))
	}
}

func TestRunStops(t *testing.T) {
	c := open(t, 2, widest())
	var wait sync.WaitGroup
	for i := range 2 {
		wait.Go(func() { c.Run(i, func(Error) {}) })
	}
	require.Eventually(t, func() bool { return c.Stats().Passes > 0.5 }, time.Minute, time.Millisecond)
	c.Stop()
	wait.Wait()
	require.Zero(t, c.Stats().Wrong)
}

func TestPrepareTellsProgressAndObeys(t *testing.T) {
	c, err := New(Options{Size: 40 << 20, Workers: 2, Pin: func(int) error { return nil }})
	require.NoError(t, err)
	var told []int64
	require.NoError(t, c.Prepare(func(done, total int64) {
		require.Equal(t, int64(40<<20), total)
		told = append(told, done)
	}))
	require.IsIncreasing(t, told)
	require.Equal(t, int64(40<<20), told[len(told)-1])
	c.Stop()
	require.ErrorIs(t, c.Prepare(nil), ErrStopped)
	require.NoError(t, c.Close())

	broken := errors.New("no such core")
	c, err = New(Options{Size: 1 << 20, Workers: 1, Pin: func(int) error { return broken }})
	require.NoError(t, err)
	require.ErrorIs(t, c.Prepare(nil), broken)
	require.NoError(t, c.Close())
}
