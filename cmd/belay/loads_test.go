package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/load"
	"belay/internal/trial"
)

func TestARealLoadGivesAResult(t *testing.T) {
	run, err := startLoad(assist.LoadSpec{Load: trial.Scalar, Minutes: 0.05})
	require.NoError(t, err)
	<-run.Done()
	r := run.Result()
	require.Equal(t, trial.Clean, r.Outcome, r.Says)
	require.Zero(t, r.Errors)
	require.Positive(t, r.Elapsed)

	run, err = startLoad(assist.LoadSpec{Load: trial.WideVector, Minutes: 60})
	require.NoError(t, err)
	run.Stop()
	<-run.Done()
	require.Equal(t, trial.Stopped, run.Result().Outcome)
	_, err = startLoad(assist.LoadSpec{Load: "dancing", Minutes: 1})
	require.Error(t, err)
}

func TestThirds(t *testing.T) {
	require.Empty(t, thirds(0, nil))
	require.Equal(t, []float64{40}, thirds(40, make([]mark, 5)), "too short to have parts")
	var marks []mark
	units := uint64(0)
	for s := range 91 {
		marks = append(marks, mark{time.Duration(s) * time.Second, units})
		if s < 30 {
			units += 110 // the first part is quicker, before heat slows it down
		} else {
			units += 95
		}
	}
	got := thirds(200, marks)
	require.InDeltaSlice(t, []float64{220, 190, 190}, got, 1e-9)
}

func TestErrorsAreTold(t *testing.T) {
	require.Equal(t, "After 1 min 30 s: sort, core 3, 2 wrong bits.", told(load.Error{Core: 3, AtS: 90, Check: "sort", Bits: []int{4, 9}}))
	require.Equal(t, "After 1 min 30 s: crash.", told(load.Error{Core: -1, AtS: 90, Check: "crash"}))
}
