package session

import (
	"fmt"
	"math"
	"slices"

	"belay/internal/cause"
	"belay/internal/gain"
	"belay/internal/planner"
	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// faster is the verdict of a gain that stands out of the noise.
const faster = string(gain.Faster)

// gainConfidence is the confidence of the intervals of gains.
const gainConfidence = 0.95

// Evidence returns what the trials so far say.
func (s *State) Evidence() Evidence {
	keep := s.keepOr()
	report := planner.Assess(s.planInput("core"), keep, trial.Scalar)
	e := Evidence{
		Need: []NeedAt{}, Warnings: []string{}, Gains: s.gains(),
		Proof: s.proof(keep, report.Confidence), Now: s.standing(report.Standing),
	}
	e.Proof.NotProven = s.notProven(keep)
	if s.Keep() != nil {
		e.Keep = &KeepEvidence{
			Settings: keep, Load: trial.Scalar, TargetH: s.wishes().TargetH,
			Confidence: rounded(report.Confidence, 1000), ReserveMV: rounded(report.ReserveMV, 10),
		}
	}
	for _, n := range report.Needs {
		e.Need = append(e.Need, NeedAt{Load: n.Load, Ratio: int(n.Ratio), Target: band(n.Band.Target), TenMinutes: band(n.Band.TenMinutes)})
	}
	if r := report.Resistance; r != nil {
		e.Heat = &HeatFit{RthKPerW: *r, AirTempC: report.Room}
		for _, t := range s.Trials {
			e.Heat.HottestC = max(e.Heat.HottestC, float64(t.Readings.CoreTemp))
			e.Heat.MostPowerW = max(e.Heat.MostPowerW, float64(t.Readings.PackagePower))
			if t.Readings.CoreTemp > 0 {
				e.Heat.Readings++
			}
		}
	}
	if l := report.LineMOhm; l != nil {
		e.LoadLine = &LoadLineFit{
			ResistanceMOhm: l[1], Resistance95MOhm: [2]float64{l[0], l[2]}, OffsetV: report.LineOffset, Readings: len(s.LoadLine),
		}
	}
	for _, w := range report.Warnings {
		if !slices.Contains(e.Warnings, w) {
			e.Warnings = append(e.Warnings, w)
		}
	}
	return e
}

// keepOr returns the settings to keep, or those in the firmware.
func (s *State) keepOr() trial.Settings {
	if k := s.Keep(); k != nil {
		return k.Keep
	}
	return s.Settings
}

func band(b stability.Quantiles) Band {
	return Band{Q05: mv(b.Q05), Q50: mv(b.Q50), Q95: mv(b.Q95)}
}

// mv rounds a voltage to a millivolt.
func mv(v units.Volt) float64 { return math.Round(float64(v)*1000) / 1000 }

func rounded(x *float64, per float64) *float64 {
	if x == nil || math.IsNaN(*x) || math.IsInf(*x, 0) {
		return nil
	}
	y := math.Round(*x*per) / per
	return &y
}

// scoresOf returns the scores of a trial, one or many.
func scoresOf(t trial.Trial) []float64 {
	if len(t.Readings.Scores) > 0 {
		return t.Readings.Scores
	}
	if t.Readings.Score > 0 {
		return []float64{t.Readings.Score}
	}
	return nil
}

// stageScores returns the scores of the newest clean trial of a stage under a
// load. Scores of different loads have nothing to do with each other.
func (s *State) stageScores(stage string, load trial.Load) []float64 {
	for _, t := range slices.Backward(s.Trials) {
		if t.Stage == stage && t.Load == load && t.Outcome == trial.Clean {
			if x := scoresOf(t); x != nil {
				return x
			}
		}
	}
	return nil
}

func compare(before, after []float64) *Gain {
	if len(before) == 0 || len(after) == 0 {
		return nil
	}
	c, err := gain.Compare(before, after, gainConfidence)
	if err != nil {
		return nil
	}
	return &Gain{Ratio: c.Ratio, Ratio95: [2]float64{c.Interval.Low, c.Interval.High}, Verdict: string(c.Verdict)}
}

// gains compare the newest scalar score at the keep's own ratio with both
// baselines: that of the daily setting once there is one, else that of the
// search. Until a search has ended with a keep, the newest score counts.
func (s *State) gains() *Gains {
	ratio := units.Ratio(0)
	if k := s.Keep(); k != nil {
		ratio = k.Keep.Ratio
	}
	for _, stage := range []string{"daily", "core"} {
		if after := s.scoresAt(stage, ratio); after != nil {
			return &Gains{
				OverStock:    compare(s.stageScores("baseline", trial.Scalar), after),
				OverUncapped: compare(s.stageScores("power-cap", trial.Scalar), after),
			}
		}
	}
	return nil
}

// scoresAt returns the scores of the newest clean all-core trial of a stage at
// a ratio, 0 for any.
func (s *State) scoresAt(stage string, ratio units.Ratio) []float64 {
	for _, t := range slices.Backward(s.Trials) {
		if t.Stage == stage && t.Load == trial.Scalar && t.Outcome == trial.Clean && (ratio == 0 || t.Settings.Ratio == ratio) {
			if x := scoresOf(t); x != nil {
				return x
			}
		}
	}
	return nil
}

// gainHere is the gain of the newest clean score over the one before it under
// the same load.
func (s *State) gainHere() *Gain {
	var after []float64
	var load trial.Load
	for _, t := range slices.Backward(s.Trials) {
		x := scoresOf(t)
		switch {
		case t.Outcome != trial.Clean || x == nil:
		case after == nil:
			after, load = x, t.Load
		case t.Load == load:
			return compare(x, after)
		}
	}
	return nil
}

func (s *State) gainWord(name string) string {
	var g *Gain
	switch name {
	case "gain_cap":
		g = compare(s.stageScores("baseline", trial.Scalar), s.stageScores("power-cap", trial.Scalar))
	case "gain_last":
		g = s.gainHere()
	case "gain_tuning", "gain_total":
		all := s.gains()
		if all == nil {
			return ""
		}
		g = all.OverUncapped
		if name == "gain_total" {
			g = all.OverStock
		}
	}
	return gainText(g)
}

// gainText prints a gain with its interval.
func gainText(g *Gain) string {
	switch {
	case g == nil:
		return ""
	case g.Ratio95[0] <= 0:
		return fmt.Sprintf("about %.1f %%", gain.Percent(g.Ratio))
	}
	return fmt.Sprintf("about %.1f %% (%.1f to %.1f %%)", gain.Percent(g.Ratio), gain.Percent(g.Ratio95[0]), gain.Percent(g.Ratio95[1]))
}

// suspect ranks what the newest failure most likely was, and returns the
// stage to go back to with the reason.
func (s *State) suspect() (stage, because string) {
	for _, t := range slices.Backward(s.Trials) {
		if !t.Outcome.Failed() && !t.Outcome.Hot() {
			continue
		}
		e := cause.FromTrial(t)
		e.Change = cause.Nothing
		ranked := cause.Rank(s.graph.Causes, e)
		if len(ranked) == 0 {
			return "", ""
		}
		first := ranked[0]
		return first.Cause.Stage, fmt.Sprintf("%s Likelihood about %.0f %%.", first.Cause.Explain, first.Probability*100)
	}
	return "", ""
}

// proof says what has been proven for the keep, with the bound that needs no
// model beside it.
func (s *State) proof(keep trial.Settings, confidence *float64) Proof {
	var p Proof
	for _, t := range s.Trials {
		if t.Outcome == trial.Clean && (t.Load == trial.Scalar || t.Load == trial.Mixed) && keep.Ratio > 0 && t.Settings.Ratio == keep.Ratio && t.Settings.SetVoltage <= keep.SetVoltage {
			p.CleanHours += float64(t.Minutes) / 60
		}
	}
	if p.CleanHours > 0 {
		p.ModelFreeMTBFH = math.Round(planner.ModelFree(0, p.CleanHours)*1000) / 1000
	}
	p.CleanHours = math.Round(p.CleanHours*1000) / 1000
	open := s.unproven(keep)
	switch {
	case s.Keep() == nil || keep.Ratio == 0:
		p.Sentence = "Nothing is proven yet."
	case confidence == nil:
		p.Sentence = fmt.Sprintf("Ratio %v at %v ran clean for %s so far. There is not enough evidence for more.",
			keep.Ratio, keep.SetVoltage, units.FormatMinutes(p.CleanHours*60))
	default:
		p.Sentence = fmt.Sprintf("Ratio %v at %v under all-core load fails less than once in %.0f hours, with %d %% confidence%s.",
			keep.Ratio, keep.SetVoltage, s.wishes().TargetH, planner.Percent(*confidence), open)
	}
	return p
}

// openLoads are the loads that a claim about all-core load does not cover, as
// a person calls them.
var openLoads = []struct {
	load trial.Load
	name string
}{
	{trial.WideVector, "wide vectors"}, {trial.Mixed, "mixed work"}, {trial.Bursty, "bursts and idle"},
}

// unproven names the loads that have not run clean at the keep, or below it.
func (s *State) unproven(keep trial.Settings) string {
	var names []string
	for _, o := range openLoads {
		if !slices.ContainsFunc(s.Trials, func(t trial.Trial) bool {
			x := t.Settings
			return t.Load == o.load && t.Outcome == trial.Clean && x.Ratio >= keep.Ratio && x.SetVoltage > 0 &&
				x.SetVoltage <= keep.SetVoltage && x.WideVectorOffset <= keep.WideVectorOffset
		}) {
			names = append(names, o.name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "; not yet proven under " + list(names)
}
