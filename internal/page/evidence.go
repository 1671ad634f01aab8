package page

import (
	"fmt"
	"strconv"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
)

// evidenceView is what the trials say, in words and numbers.
type evidenceView struct {
	Base      string
	Version   int64 // so that a picture is fetched anew when there is news
	Sentence  []piece
	Bound     string
	Further   []piece // what a further hour would prove
	NotProven []piece
	Now       [][]piece // where the evidence stands
	Wear      bool      // one of these tells of wear
	Keep      *keepView
	Need      []needRow
	Gains     []wording.Pair
	Heat      []wording.Pair
	LoadLine  []wording.Pair
	Trials    []trialRow
	Counts    []countView
	Warnings  [][]piece
}

// keepView is the setting to stay with and how well it is proven.
type keepView struct {
	Settings []wording.Pair
	Claims   []wording.Pair
	Memory   bool // a setting is of the memory
}

// needRow is the voltage that one ratio needs under one load.
type needRow struct {
	Load, Ratio string
	Target, Ten estimate
}

// estimate is a middle value with its range, or only words.
type estimate struct{ Mid, Range string }

// trialRow is one trial.
type trialRow struct {
	N                            int
	Ratio, Voltage, Load, Result string
	Mark, Ran                    string
}

// countView counts the trials that ended in one way.
type countView struct {
	Mark, Word string
	N          int
}

func evidenceOf(base string, v session.View, trials []trial.Trial) evidenceView {
	e := v.Evidence
	out := evidenceView{Base: base, Version: v.Version, Sentence: linked(base, e.Proof.Sentence), Warnings: linkedAll(base, e.Warnings)}
	out.Wear = e.Now.Wear != nil
	out.NotProven, out.Now = linked(base, e.Proof.NotProven), linkedAll(base, e.Now.Sentences)
	if e.Proof.CleanHours > 0 {
		out.Bound = fmt.Sprintf("Without any model: %s clean. With 95\u00a0%% confidence at least %s between failures.",
			wording.Hours(e.Proof.CleanHours), wording.Hours(e.Proof.ModelFreeMTBFH))
	}
	out.Keep = keepOf(v, e.Keep)
	for _, n := range e.Need {
		out.Need = append(out.Need, needRow{
			Load: wording.Load(n.Load), Ratio: strconv.Itoa(n.Ratio), Target: band(n.Target), Ten: band(n.TenMinutes),
		})
	}
	if g := e.Gains; g != nil {
		out.Gains = appendGain(out.Gains, "Over the PC as delivered", g.OverStock)
		out.Gains = appendGain(out.Gains, "Over the PC with the power cap lifted", g.OverUncapped)
	}
	if h := e.Heat; h != nil {
		out.Heat = []wording.Pair{
			{Label: "Hottest core so far", Value: wording.Measure("°C", h.HottestC)},
			{Label: "Most package power so far", Value: wording.Measure("W", h.MostPowerW)},
			{Label: "Warming", Value: fmt.Sprintf("about %.2f%s°C for each watt (%.2f\u00a0to\u00a0%.2f)", h.RthKPerW[1], wording.NBSP, h.RthKPerW[0], h.RthKPerW[2])},
			{Label: "Air", Value: wording.Measure("°C", h.AirTempC)},
			{Label: "Readings", Value: strconv.Itoa(h.Readings)},
		}
	}
	if l := e.LoadLine; l != nil {
		out.LoadLine = []wording.Pair{
			{Label: "Droop", Value: fmt.Sprintf("about %.2f%smΩ (%.2f\u00a0to\u00a0%.2f)", l.ResistanceMOhm, wording.NBSP, l.Resistance95MOhm[0], l.Resistance95MOhm[1])},
			{Label: "Offset", Value: wording.Measure("mV", l.OffsetV*1000)},
			{Label: "Readings", Value: strconv.Itoa(l.Readings)},
		}
	}
	out.setTrials(trials)
	return out
}

func keepOf(v session.View, k *session.KeepEvidence) *keepView {
	switch {
	case k == nil && v.Keep == nil:
		return nil
	case k == nil:
		return &keepView{Settings: wording.List(*v.Keep), Memory: v.Keep.DataRate > 0}
	}
	out := &keepView{Settings: wording.List(k.Settings), Memory: k.Settings.DataRate > 0, Claims: []wording.Pair{
		{Label: "Proven under", Value: wording.Load(k.Load)},
		{Label: "Target", Value: "less than one failure in " + wording.Hours(k.TargetH)},
	}}
	confidence := "not enough evidence yet"
	if k.Confidence != nil {
		confidence = wording.Percent(*k.Confidence)
	}
	out.Claims = append(out.Claims, wording.Pair{Label: "Confidence", Value: confidence})
	if k.ReserveMV != nil {
		out.Claims = append(out.Claims, wording.Pair{Label: "Reserve", Value: wording.Measure("mV", *k.ReserveMV)})
	}
	return out
}

func band(b session.Band) estimate {
	if b.Q50 == 0 {
		return estimate{Mid: "not enough evidence yet"}
	}
	return estimate{wording.Measure("V", b.Q50), wording.Bare("V", b.Q05) + " to " + wording.Bare("V", b.Q95)}
}

func appendGain(to []wording.Pair, label string, g *session.Gain) []wording.Pair {
	if g == nil {
		return append(to, wording.Pair{Label: label, Value: "not enough evidence yet"})
	}
	text := fmt.Sprintf("about %+.1f%s%% (%+.1f\u00a0to\u00a0%+.1f)", (g.Ratio-1)*100, wording.NBSP, (g.Ratio95[0]-1)*100, (g.Ratio95[1]-1)*100)
	if g.Verdict != "" {
		text += ", " + g.Verdict
	}
	return append(to, wording.Pair{Label: label, Value: text})
}

func (e *evidenceView) setTrials(trials []trial.Trial) {
	counts := map[string]int{}
	for _, t := range trials {
		mark := wording.Mark(t.Outcome)
		counts[mark]++
		row := trialRow{N: t.N, Load: wording.Load(t.Load), Result: wording.Outcome(t.Outcome), Mark: mark, Ran: wording.Ran(t)}
		row.Ratio, row.Voltage = wording.Stock, "not read"
		if t.Settings.Ratio > 0 {
			row.Ratio = t.Settings.Ratio.String()
		}
		if t.Readings.LoadVoltage > 0 {
			row.Voltage = wording.Measure("V", float64(t.Readings.LoadVoltage))
		}
		e.Trials = append(e.Trials, row)
	}
	for _, c := range []countView{{Mark: "done", Word: "clean"}, {Mark: "failed", Word: "failed"}, {Mark: "hot", Word: "too hot"}, {Mark: "skipped", Word: "stopped"}} {
		if c.N = counts[c.Mark]; c.N > 0 {
			e.Counts = append(e.Counts, c)
		}
	}
}
