package contest

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/virtualrig"
)

// TestGuidedKeepsItsWord holds the guide to what it claims, on a few rigs of
// every kind. The full populations are run by "belay simulate".
func TestGuidedKeepsItsWord(t *testing.T) {
	stated, kept, own := 0, 0.0, Tally{}
	for _, v := range virtualrig.Variants() {
		rigs := 4
		if v == virtualrig.Own {
			rigs = 16
		}
		o := options(t, rigs, v, "guided")
		o.Seed = 40_000
		r, err := Run(context.Background(), o, nil)
		require.NoError(t, err)
		s := r.Strategies[0]
		require.LessOrEqual(t, s.MaxLoadVoltage, float64(o.Limits.CoreCeiling)+0.020, "%s: beyond what a meter may be off by", v)
		require.Less(t, s.TrialsMean, 30.0, v)
		for _, b := range s.Calibration {
			if b.StatedLow >= 0.9 && b.Rigs > 0 {
				stated += b.Rigs
				kept += *b.TrueShare * float64(b.Rigs)
			}
		}
		if v == virtualrig.Own {
			own = s
		}
	}
	require.Greater(t, stated, 30, "the guide hardly ever claims anything")
	require.GreaterOrEqual(t, kept/float64(stated), 0.85, "stated 90 %% or more on %d rigs", stated)
	require.GreaterOrEqual(t, own.TargetMetShare, 0.93)
	require.LessOrEqual(t, own.HoursMedian, 4.0)
	require.LessOrEqual(t, own.CrashesMean, 2.5)
	require.LessOrEqual(t, own.OverOracleMV, 60.0)
}
