package contest

import (
	"math"
	"slices"

	"belay/internal/stats"
)

// Tally is what one strategy did over a population. Means and shares are over
// all rigs; a median or p90 is over the rigs' own totals.
type Tally struct {
	Name           string  `json:"name"`
	HoursMedian    float64 `json:"hours_median"`
	HoursP90       float64 `json:"hours_p90"`
	TrialsMean     float64 `json:"trials_mean"`
	CrashesMean    float64 `json:"crashes_mean"` // freezes, resets and failed starts; a wrong result is none
	CrashesP90     float64 `json:"crashes_p90"`
	TargetMetShare float64 `json:"target_met_share"`   // kept settings that truly meet the target
	RatioRegret    float64 `json:"ratio_regret"`       // mean ratio steps below the oracle's; a setting above it counts 0
	OverOracleMV   float64 `json:"over_oracle_mv"`     // mean true load voltage above the least that does at the same ratio
	MaxLoadVoltage float64 `json:"max_load_voltage_v"` // highest true load voltage in any trial
	MaxOverLimitC  float64 `json:"max_over_limit_c"`   // highest true core temperature in any trial, above the limit; below 0: under it
	Calibration    []Bin   `json:"calibration"`        // ten bins of stated confidence
}

// Bin compares what was stated with what was true.
type Bin struct {
	StatedLow  float64  `json:"stated_low"`
	StatedHigh float64  `json:"stated_high"`
	Rigs       int      `json:"rigs"`
	TrueShare  *float64 `json:"true_share"` // of the target met; null without rigs
}

const bins = 10

func tally(name string, scores []score) Tally {
	t := Tally{Name: name, MaxOverLimitC: math.Inf(-1)}
	var hours, crashes []float64
	n := float64(len(scores))
	var stated, met [bins]int
	for _, s := range scores {
		hours = append(hours, s.hours)
		crashes = append(crashes, float64(s.crashes))
		t.TrialsMean += float64(s.trials) / n
		t.CrashesMean += float64(s.crashes) / n
		t.RatioRegret += s.ratioLost / n
		t.OverOracleMV += s.overOracle / n
		t.MaxLoadVoltage = max(t.MaxLoadVoltage, s.loadVoltage)
		t.MaxOverLimitC = max(t.MaxOverLimitC, s.overLimit)
		if s.met {
			t.TargetMetShare += 1 / n
		}
		if s.confidence != nil {
			i := min(max(int(*s.confidence*bins), 0), bins-1)
			stated[i]++
			if s.met {
				met[i]++
			}
		}
	}
	t.HoursMedian, t.HoursP90, t.CrashesP90 = quantile(hours, 0.5), quantile(hours, 0.9), quantile(crashes, 0.9)
	if math.IsInf(t.MaxOverLimitC, -1) { // no trial at all
		t.MaxOverLimitC = 0
	}
	for i := range bins {
		b := Bin{StatedLow: float64(i) / bins, StatedHigh: float64(i+1) / bins, Rigs: stated[i]}
		if stated[i] > 0 {
			share := round(float64(met[i])/float64(stated[i]), 1e4)
			b.TrueShare = &share
		}
		t.Calibration = append(t.Calibration, b)
	}
	for _, x := range []*float64{
		&t.HoursMedian, &t.HoursP90, &t.TrialsMean, &t.CrashesMean, &t.CrashesP90, &t.TargetMetShare,
		&t.RatioRegret, &t.OverOracleMV, &t.MaxLoadVoltage, &t.MaxOverLimitC,
	} {
		*x = round(*x, 1e4)
	}
	return t
}

// quantile is a quantile of at least one finite number.
func quantile(xs []float64, p float64) float64 {
	q, err := stats.Quantile(slices.Clone(xs), p)
	if err != nil {
		panic("a bout has finite costs: " + err.Error())
	}
	return q
}

func round(x, per float64) float64 { return math.Round(x*per) / per }
