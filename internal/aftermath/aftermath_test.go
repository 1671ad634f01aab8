package aftermath

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

// down are the facts of a PC that went down 7 min 20 s into a trial, and that
// nothing is known of but that.
var down = Facts{Mark: Alive, BootKnown: true, Ran: 440 * time.Second}

// with changes a copy of the facts.
func with(f Facts, change func(*Facts)) Facts {
	f.Signs = nil
	change(&f)
	return f
}

func signs(kinds ...Kind) func(*Facts) {
	return func(f *Facts) {
		for _, k := range kinds {
			f.Signs = append(f.Signs, Sign{Kind: k, Detail: "Found: " + string(k) + "."})
		}
	}
}

func off(s float64) func(*Facts) {
	return func(f *Facts) {
		f.OffKnown, f.Off, f.Usual = true, time.Duration(s*float64(time.Second)), 45*time.Second
	}
}

func all(changes ...func(*Facts)) func(*Facts) {
	return func(f *Facts) {
		for _, c := range changes {
			c(f)
		}
	}
}

func hot(f *Facts)      { f.Temp, f.Limit = 97, 100 }
func cool(f *Facts)     { f.Temp, f.Limit = 80, 100 }
func sameBoot(f *Facts) { f.SameBoot = true }
func noBoot(f *Facts)   { f.BootKnown = false }
func memory(f *Facts)   { f.MemoryChanged = true }
func mark(m Mark) func(*Facts) {
	return func(f *Facts) { f.Mark = m }
}

// The cases follow the order of evidence that docs/aftermath.md lists; what
// each trace means is documented by the makers of the operating systems.
func TestClassify(t *testing.T) {
	none := trial.Outcome("")
	for _, c := range []struct {
		name      string
		change    func(*Facts)
		cause     Cause
		certainty Certainty
		outcome   trial.Outcome
	}{
		{"same boot, Belay closed", all(sameBoot, mark(Closed)), BelayClosed, Certain, trial.Stopped},
		{"same boot, trial had ended", all(sameBoot, mark(Ended)), BelayClosed, Certain, trial.Stopped},
		{"same boot, alive", sameBoot, BelayDied, Likely, none},
		{"same boot, no beat", all(sameBoot, mark(NoMark)), BelayDied, Likely, none},
		{"same boot, alive, hot", all(sameBoot, hot), BelayDied, Likely, none},
		{"same boot, alive, corrected errors", all(sameBoot, signs(CorrectedError)), BelayDied, Likely, none},
		{"same boot, an old clean stop does not matter", all(sameBoot, signs(CleanStop)), BelayDied, Likely, none},
		{"same boot, hardware error", all(sameBoot, signs(HardwareError)), BelayDied, Likely, none},

		{"new boot, Belay closed", mark(Closed), Restarted, Certain, trial.Stopped},
		{"new boot, trial had ended", mark(Ended), Restarted, Certain, trial.Stopped},
		{"new boot, Belay closed, short off", all(mark(Closed), off(40)), Restarted, Certain, trial.Stopped},
		{"new boot, Belay closed, long off", all(mark(Closed), off(4000)), Restarted, Certain, trial.Stopped},
		{"new boot, Belay closed, then the system stopped with an error", all(mark(Closed), signs(StopError)), StoppedItself, Certain, trial.Reset},
		{"new boot, clean stop, alive", signs(CleanStop), Restarted, Likely, trial.Stopped},
		{"new boot, clean stop, long off", all(signs(CleanStop), off(4000)), Restarted, Likely, trial.Stopped},
		{"new boot, clean stop, hot", all(signs(CleanStop), hot), Restarted, Likely, trial.Stopped},

		{"stop error", signs(StopError), StoppedItself, Certain, trial.Reset},
		{"stop error, unexpected", signs(StopError, Unexpected), StoppedItself, Certain, trial.Reset},
		{"stop error before hardware error", signs(HardwareError, StopError), StoppedItself, Certain, trial.Reset},
		{"stop error, long off", all(signs(StopError), off(4000)), StoppedItself, Certain, trial.Reset},
		{"stop error, boot not known", all(noBoot, signs(StopError)), StoppedItself, Certain, trial.Reset},
		{"hardware error", signs(HardwareError), Hardware, Certain, trial.Reset},
		{"hardware error before power button", signs(PowerButton, HardwareError), Hardware, Certain, trial.Reset},
		{"hardware error, hot", all(signs(HardwareError), hot), Hardware, Certain, trial.Reset},
		{"hardware error, boot not known", all(noBoot, signs(HardwareError)), Hardware, Certain, trial.Reset},
		{"power button", signs(PowerButton), Froze, Likely, trial.Froze},
		{"power button, unexpected", signs(Unexpected, PowerButton), Froze, Likely, trial.Froze},
		{"power button before watchdog", signs(Watchdog, PowerButton), Froze, Likely, trial.Froze},
		{"power button, short off", all(signs(PowerButton), off(30)), Froze, Likely, trial.Froze},
		{"watchdog", signs(Watchdog), Froze, Certain, trial.Froze},
		{"watchdog, short off", all(signs(Watchdog), off(30)), Froze, Certain, trial.Froze},
		{"watchdog, hot", all(signs(Watchdog), hot, off(300)), Froze, Certain, trial.Froze},

		{"hot and off long", all(hot, off(300)), TooHot, Likely, trial.TooHot},
		{"hot and back at once", all(hot, off(50)), Reset, Likely, trial.Reset},
		{"hot, off not known", hot, Unknown, NotKnown, none},
		{"hot, memory changed", all(hot, off(300), memory), Unknown, NotKnown, none},
		{"five below the limit", all(off(300), func(f *Facts) { f.Temp, f.Limit = 95, 100 }), TooHot, Likely, trial.TooHot},
		{"six below the limit", all(off(300), func(f *Facts) { f.Temp, f.Limit = 94, 100 }), FrozeOrPower, Likely, trial.Froze},
		{"warm, limit not known", all(off(300), func(f *Facts) { f.Temp = 99 }), FrozeOrPower, Likely, trial.Froze},

		{"back at once", off(45), Reset, Likely, trial.Reset},
		{"back at the edge", off(55), Reset, Likely, trial.Reset},
		{"back just after the edge", off(55.1), FrozeOrPower, Likely, trial.Froze},
		{"off for an hour", off(3600), FrozeOrPower, Likely, trial.Froze},
		{"back at once, cool", all(off(45), cool), Reset, Likely, trial.Reset},
		{"back at once, unexpected", all(off(45), signs(Unexpected)), Reset, Likely, trial.Reset},
		{"off long, unexpected", all(off(450), signs(Unexpected)), FrozeOrPower, Likely, trial.Froze},
		{"back at once, corrected errors", all(off(45), signs(CorrectedError)), Reset, Likely, trial.Reset},
		{"back at once, memory changed", all(off(45), memory), Unknown, NotKnown, none},
		{"off long, memory changed", all(off(450), memory), Unknown, NotKnown, none},
		{"usual restart not known", func(f *Facts) { f.OffKnown, f.Off = true, 45*time.Second }, Unknown, NotKnown, none},
		{"no beat left", all(off(45), mark(NoMark)), Unknown, NotKnown, none},
		{"nothing known", func(*Facts) {}, Unknown, NotKnown, none},
		{"clock went back", off(-5), Unknown, NotKnown, none},
		{"clock went back, hot", all(off(-5), hot), Unknown, NotKnown, none},

		{"boot not known, alive", noBoot, Unknown, NotKnown, none},
		{"boot not known, closed", all(noBoot, mark(Closed)), Restarted, Certain, trial.Stopped},
		{"boot not known, clean stop", all(noBoot, signs(CleanStop)), Restarted, Likely, trial.Stopped},
		{"boot not known, off long", all(noBoot, off(450)), Unknown, NotKnown, none},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := Classify(with(down, c.change))
			require.Equal(t, c.cause, v.Cause)
			require.Equal(t, c.certainty, v.Certainty)
			require.Equal(t, c.outcome, v.Outcome)
			require.NotEmpty(t, v.Says)
			require.GreaterOrEqual(t, len(v.Evidence), 2)
		})
	}
}

// What is not known never counts as a pass, and an orderly restart never as a
// failure.
func TestNoVerdictIsAPass(t *testing.T) {
	for cause := range headline {
		require.Contains(t, headline[cause], "%s", cause)
	}
	for _, m := range []Mark{NoMark, Alive, Ended, Closed} {
		for _, k := range []Kind{"", StopError, HardwareError, CorrectedError, PowerButton, Watchdog, CleanStop, Unexpected} {
			for _, bits := range []int{0, 1, 2, 3} {
				v := Classify(with(down, func(f *Facts) {
					f.Mark, f.SameBoot, f.BootKnown = m, bits&1 > 0, bits&2 > 0
					signs(k)(f)
				}))
				require.NotEqual(t, trial.Clean, v.Outcome)
				if v.Cause == Restarted || v.Cause == BelayClosed {
					require.False(t, v.Outcome.Failed())
				}
			}
		}
	}
}

func TestTheTimeIsTold(t *testing.T) {
	v := Classify(with(down, all(off(40), func(f *Facts) { f.Late = 500 * time.Millisecond })))
	require.InDelta(t, 7.333, float64(v.Minutes), 0.001)
	require.InDelta(t, 0.025, float64(v.Bound), 1e-9)
	require.Equal(t, "The PC restarted by itself about 7 min 20 s into this trial. That is likely, not certain.", v.Says)
	require.Contains(t, strings.Join(v.Evidence, " "), "passed 40 s. A planned restart takes 45 s.")

	v = Classify(with(down, mark(NoMark)))
	require.Zero(t, v.Bound)
	require.Equal(t, "The PC went down during this trial. Belay cannot tell how: say what you saw.", v.Says)
}
