package stability

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

// reference is testdata/zero-failure.json; its sources stand in SOURCE.md.
type reference struct {
	Confidences   []float64 `json:"confidences"`
	LengthFactors []struct {
		Failures int       `json:"failures"`
		Factors  []float64 `json:"factors"`
	} `json:"length_factors"`
	IntervalConfidences []float64 `json:"interval_confidences"`
	Intervals           []struct {
		Failures  int `json:"failures"`
		Low, High []float64
	} `json:"intervals"`
	ZeroFailures []struct {
		Hours, Confidence float64
		MTBF              float64 `json:"mtbf_h"`
	} `json:"zero_failures"`
	Counts []struct {
		Failures int
		C95, C90 [2]float64
	} `json:"counts"`
}

func readReference(t *testing.T) (r reference) {
	t.Helper()
	data, err := os.ReadFile("testdata/zero-failure.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &r))
	return r
}

func TestTestLengthFactors(t *testing.T) {
	ref := readReference(t)
	require.Len(t, ref.LengthFactors, 7)
	for _, row := range ref.LengthFactors {
		for i, want := range row.Factors {
			got, err := HoursNeeded(1, ref.Confidences[i], row.Failures)
			require.NoError(t, err)
			require.InDelta(t, want, got, 5.1e-5, "%d failures at %v", row.Failures, ref.Confidences[i])
			lower, _, _, err := ModelFree(row.Failures, got, ref.Confidences[i])
			require.NoError(t, err)
			require.InDelta(t, 1, lower, 1e-9, "the two are each other's inverse")
		}
	}
}

func TestTwoSidedIntervals(t *testing.T) {
	ref := readReference(t)
	require.Len(t, ref.Intervals, 7)
	for _, row := range ref.Intervals {
		for i, c := range ref.IntervalConfidences {
			lo, hi, err := ModelFreeInterval(row.Failures, float64(row.Failures), c)
			require.NoError(t, err)
			require.InDelta(t, row.Low[i], lo, 1e-4)
			require.InDelta(t, row.High[i], hi, 1e-4)
		}
	}
}

func TestZeroFailureBound(t *testing.T) {
	for _, row := range readReference(t).ZeroFailures {
		lower, upper, point, err := ModelFree(0, row.Hours, row.Confidence)
		require.NoError(t, err)
		require.InEpsilon(t, row.MTBF, lower, 2e-6)
		require.InEpsilon(t, 1/row.MTBF, upper, 2e-6)
		require.Nil(t, point)
	}
}

// Garwood's exact intervals of a count are this bound for one unit of time.
func TestExactCountIntervals(t *testing.T) {
	for _, row := range readReference(t).Counts {
		for c, want := range map[float64][2]float64{0.95: row.C95, 0.9: row.C90} {
			lo, hi, err := ModelFreeInterval(row.Failures, 1, c)
			require.NoError(t, err)
			require.InDelta(t, want[0], 1/hi, 1e-5)
			require.InDelta(t, want[1], 1/lo, 1e-5)
		}
	}
}

// Covering a true mean: 0.9880954961 at 3 and 0.9581786339 at 7.5 (computed
// from the Poisson distribution; never below 0.95).
func TestExactCountCoverage(t *testing.T) {
	for mean, want := range map[float64]float64{3: 0.9880954961, 7.5: 0.9581786339} {
		cover, weight := 0.0, math.Exp(-mean)
		for k := range 60 {
			lo, hi, err := ModelFreeInterval(k, 1, 0.95)
			require.NoError(t, err)
			if 1/hi <= mean && mean <= 1/lo {
				cover += weight
			}
			weight *= mean / float64(k+1)
		}
		require.InDelta(t, want, cover, 1e-8)
	}
}

// A test stopped by the clock has 2r+2 degrees of freedom; one stopped at the
// last failure has 2r and would give 210.798600 (both computed; the e-Handbook
// and a reliability institute's note on time-truncated tests tell them apart).
func TestStoppedByTheClock(t *testing.T) {
	lo, hi, err := ModelFreeInterval(2, 1000, 0.9)
	require.NoError(t, err)
	require.InDelta(t, 158.836210, lo, 1e-6)
	require.InDelta(t, 2814.035763, hi, 1e-5)
	lower, _, point, err := ModelFree(2, 1000, 0.9)
	require.NoError(t, err)
	require.InDelta(t, 187.887977, lower, 1e-6)
	require.InDelta(t, 500, *point, 1e-12)
}

func TestProofRefusesNonsense(t *testing.T) {
	_, _, _, err := ModelFree(-1, 0, 1)
	require.True(t, fault.Is(err, fault.Invalid))
	var f *fault.Error
	require.ErrorAs(t, err, &f)
	require.Len(t, f.Fields, 3)
	_, err = HoursNeeded(math.NaN(), 0.9, 0)
	require.True(t, fault.Is(err, fault.Invalid))
	_, _, err = ModelFreeInterval(0, math.Inf(1), 0.9)
	require.True(t, fault.Is(err, fault.Invalid))
	_, hi, err := ModelFreeInterval(0, 8, 0.9)
	require.NoError(t, err)
	require.True(t, math.IsInf(hi, 1), "without failures there is no upper end")
}
