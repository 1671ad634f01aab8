package heartbeat

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

var sample = Beat{
	Kind: Alive, Wall: time.Date(2026, 3, 1, 9, 0, 0, 5, time.UTC), Since: 90 * time.Minute, Boot: Name("boot"),
	Session: Name("session"), Trial: 12, Ran: 440*time.Second + 200*time.Millisecond, Late: 25 * time.Millisecond, Temp: 81.5, Power: 231,
}

func open(t *testing.T, path string) *Ring {
	t.Helper()
	r, err := Open(path)
	require.NoError(t, err)
	t.Cleanup(func() { r.Close() })
	return r
}

func TestABeatSurvivesTheCodec(t *testing.T) {
	b := sample
	b.Seq = 7
	slot := b.encode()
	got, ok := decode(slot[:])
	require.True(t, ok)
	require.Equal(t, b, got)
}

func TestEveryFlippedBitSpoilsItsSlotOnly(t *testing.T) {
	b := sample
	b.Seq = 7
	slot := b.encode()
	for bit := range slotSize * 8 {
		slot[bit/8] ^= 1 << (bit % 8)
		_, ok := decode(slot[:])
		require.False(t, ok, "bit %d", bit)
		slot[bit/8] ^= 1 << (bit % 8)
	}
	_, ok := decode(make([]byte, slotSize))
	require.False(t, ok, "an empty slot")
}

func TestTheRingGoesOnWhereItStopped(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ring")
	r := open(t, path)
	require.Empty(t, r.Found())
	for i := range slots + 10 {
		b := sample
		b.Since = time.Duration(i) * time.Second
		require.NoError(t, r.Beat(b))
	}
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.EqualValues(t, ringSize, info.Size(), "the file never grows")

	again := open(t, path)
	found := again.Found()
	require.Len(t, found, slots)
	require.EqualValues(t, slots+10, found[slots-1].Seq)
	require.EqualValues(t, 11, found[0].Seq)
	require.NoError(t, again.Beat(sample))
	require.EqualValues(t, slots+11, open(t, path).Found()[slots-1].Seq)
}

func TestALostBlockCostsOneBeat(t *testing.T) {
	for block := range blocks {
		path := filepath.Join(t.TempDir(), "ring")
		r := open(t, path)
		for range 300 {
			require.NoError(t, r.Beat(sample))
		}
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		require.NoError(t, err)
		_, err = f.WriteAt(make([]byte, blockSize), int64(block)*blockSize)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		found := open(t, path).Found()
		require.Len(t, found, perBlock)
		require.GreaterOrEqual(t, found[perBlock-1].Seq, uint64(299))
	}
}

func TestTheUsualRestartIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ring")
	r := open(t, path)
	require.Zero(t, r.Restart())
	require.NoError(t, r.LearnRestart(48*time.Second))
	require.NoError(t, r.Beat(sample))
	require.Equal(t, 48*time.Second, open(t, path).Restart())
	require.Len(t, open(t, path).Found(), 1, "the restart is not a beat")
}

// A power cut may come at any moment, also half-way through a write: what is
// left dates it to a beat and a tenth. docs/formats/heartbeat.md promises it.
func TestAnyCutIsDatedWithinOneBeat(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 15))
	for range 200 {
		synctest.Test(t, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "ring")
			r, err := Open(path)
			require.NoError(t, err)
			defer r.Close()
			r.seq = slots - 5 // the ring turns round within these trials
			start := time.Now()
			stamp := Stamp{Now: time.Now, Since: func() (time.Duration, error) { return time.Since(start), nil }}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			ended := make(chan error, 1)
			go func() { ended <- Run(ctx, r, stamp, func(b *Beat) { b.Trial = 3 }) }()

			cut := time.Duration(rnd.Int64N(int64(10 * time.Second)))
			time.Sleep(cut)
			synctest.Wait()
			body, err := os.ReadFile(path)
			require.NoError(t, err)
			// The write that the cut tore: the next slot, half new and half old.
			next := sample
			next.Seq = slots - 5 + uint64(cut/Every) + 2
			torn := next.encode()
			copy(body[place(next.Seq)*slotSize:], torn[:1+rnd.IntN(slotSize-1)])
			left := filepath.Join(t.TempDir(), "left")
			require.NoError(t, os.WriteFile(left, body, 0o600))
			found, err := Open(left)
			require.NoError(t, err)
			defer found.Close()
			beats := found.Found()
			newest := beats[len(beats)-1]
			require.LessOrEqual(t, newest.Since, cut)
			require.LessOrEqual(t, cut-newest.Since, Every+100*time.Millisecond)
			require.EqualValues(t, 3, newest.Trial)
			cancel()
			require.NoError(t, <-ended)
		})
	}
}

func TestStallsAreGapsWithinOneTrial(t *testing.T) {
	at := func(s float64, boot uint64, kind Kind) Beat {
		return Beat{Since: time.Duration(s * float64(time.Second)), Boot: boot, Kind: kind}
	}
	require.Zero(t, Stalls(nil))
	require.Zero(t, Stalls([]Beat{at(1, 1, Alive), at(3.9, 1, Alive)}))
	require.Equal(t, 1, Stalls([]Beat{at(1, 1, Alive), at(4.1, 1, Alive), at(5, 1, Alive)}))
	require.Zero(t, Stalls([]Beat{at(1, 1, Alive), at(9, 2, Alive)}), "another boot")
	require.Zero(t, Stalls([]Beat{at(1, 1, Ended), at(9, 1, Alive)}), "between trials")
}

func TestAFolderThatCannotBeWrittenIsNamed(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "missing", "ring"))
	require.ErrorContains(t, err, "dates crashes")
}

func TestTheClockSinceTheStartRuns(t *testing.T) {
	a, err := SinceBoot()
	require.NoError(t, err)
	b, err := SinceBoot()
	require.NoError(t, err)
	require.GreaterOrEqual(t, b, a)
}
