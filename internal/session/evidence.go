package session

import "belay/internal/trial"

// Evidence is what the trials so far say. A part that the evidence does not
// reach is nil, never a guess.
type Evidence struct {
	Keep     *KeepEvidence `json:"keep"`
	Need     []NeedAt      `json:"need"`
	Heat     *HeatFit      `json:"heat"`
	LoadLine *LoadLineFit  `json:"load_line"`
	Gains    *Gains        `json:"gains"`
	Proof    Proof         `json:"proof"`
	Now      Standing      `json:"now"`
	Warnings []string      `json:"warnings"`
}

// KeepEvidence says how well the setting to stay with is proven.
type KeepEvidence struct {
	Settings   trial.Settings `json:"settings"`
	Load       trial.Load     `json:"load"`
	TargetH    float64        `json:"target_mtbf_h"`
	Confidence *float64       `json:"confidence"` // nil: not enough evidence
	ReserveMV  *float64       `json:"reserve_mv"`
}

// Band is an estimate by its 5 %, 50 % and 95 % points, in volts.
type Band struct {
	Q05 float64 `json:"q05_v"`
	Q50 float64 `json:"q50_v"`
	Q95 float64 `json:"q95_v"`
}

// NeedAt is the load voltage that a ratio needs: for the target, and to last
// ten minutes.
type NeedAt struct {
	Load       trial.Load `json:"load"`
	Ratio      int        `json:"ratio"`
	Target     Band       `json:"target"`
	TenMinutes Band       `json:"ten_minutes"`
}

// HeatFit is the heat model as fitted. Intervals are 90 %.
type HeatFit struct {
	RthKPerW   [3]float64 `json:"rth_k_per_w"`
	AirTempC   float64    `json:"air_temp_c"`
	HottestC   float64    `json:"hottest_c"`    // hottest core in any trial
	MostPowerW float64    `json:"most_power_w"` // highest package power in any trial
	Readings   int        `json:"readings"`
}

// LoadLineFit is the load line as fitted. Intervals are 95 %.
type LoadLineFit struct {
	ResistanceMOhm   float64    `json:"resistance_mohm"`
	Resistance95MOhm [2]float64 `json:"resistance_95_mohm"`
	OffsetV          float64    `json:"offset_v"`
	Readings         int        `json:"readings"`
}

// Gain is a ratio of scores with its 95 % interval.
type Gain struct {
	Ratio   float64    `json:"ratio"`
	Ratio95 [2]float64 `json:"ratio_95"`
	Verdict string     `json:"verdict"`
}

// Gains compare the newest clean score with both baselines. Nil: not enough
// scores.
type Gains struct {
	OverStock    *Gain `json:"over_stock"`    // as delivered
	OverUncapped *Gain `json:"over_uncapped"` // with the sustained cap lifted
}

// Proof is what has been proven, in one sentence, beside the bound that needs
// no model.
type Proof struct {
	Sentence       string  `json:"sentence"`
	ModelFreeMTBFH float64 `json:"model_free_mtbf_h"` // 95 % lower bound from the clean hours alone
	CleanHours     float64 `json:"clean_hours"`       // at the keep or below it, under the load named
	NotProven      string  `json:"not_proven"`        // one sentence
}
