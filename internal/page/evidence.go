package page

import (
	"fmt"
	"math"
	"strconv"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// evidenceView is what the trials say, in words and numbers.
type evidenceView struct {
	Base     string
	Sentence []piece
	Bound    string
	Keep     *keepView
	Need     []needRow
	Gains    []namedValue
	Heat     []namedValue
	LoadLine []namedValue
	Trials   []trialRow
	Counts   []countView
	Warnings [][]piece
}

// keepView is the setting to stay with and how well it is proven.
type keepView struct {
	Settings []namedValue
	Claims   []namedValue
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
	out := evidenceView{Base: base, Sentence: linked(base, e.Proof.Sentence), Warnings: linkedAll(base, e.Warnings)}
	if e.Proof.CleanHours > 0 {
		out.Bound = fmt.Sprintf("Without any model: %s clean. With 95\u00a0%% confidence at least %s between failures.",
			hours(e.Proof.CleanHours), hours(e.Proof.ModelFreeMTBFH))
	}
	out.Keep = keepOf(v, e.Keep)
	for _, n := range e.Need {
		out.Need = append(out.Need, needRow{
			Load: loadName(n.Load), Ratio: strconv.Itoa(n.Ratio), Target: band(n.Target), Ten: band(n.TenMinutes),
		})
	}
	if g := e.Gains; g != nil {
		out.Gains = appendGain(out.Gains, "Over the PC as delivered", g.OverStock)
		out.Gains = appendGain(out.Gains, "Over the PC with the power cap lifted", g.OverUncapped)
	}
	if h := e.Heat; h != nil {
		out.Heat = []namedValue{
			{"Hottest core so far", measure("°C", h.HottestC)},
			{"Most package power so far", measure("W", h.MostPowerW)},
			{"Warming", fmt.Sprintf("about %.2f%s°C for each watt (%.2f\u00a0to\u00a0%.2f)", h.RthKPerW[1], nbsp, h.RthKPerW[0], h.RthKPerW[2])},
			{"Air", measure("°C", h.AirTempC)},
			{"Readings", strconv.Itoa(h.Readings)},
		}
	}
	if l := e.LoadLine; l != nil {
		out.LoadLine = []namedValue{
			{"Droop", fmt.Sprintf("about %.2f%smΩ (%.2f\u00a0to\u00a0%.2f)", l.ResistanceMOhm, nbsp, l.Resistance95MOhm[0], l.Resistance95MOhm[1])},
			{"Offset", measure("mV", l.OffsetV*1000)},
			{"Readings", strconv.Itoa(l.Readings)},
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
		return &keepView{Settings: settingList(*v.Keep)}
	}
	out := &keepView{Settings: settingList(k.Settings), Claims: []namedValue{
		{"Proven under", loadName(k.Load)},
		{"Target", "less than one failure in " + hours(k.TargetH)},
	}}
	confidence := "not enough evidence yet"
	if k.Confidence != nil {
		confidence = percent(*k.Confidence)
	}
	out.Claims = append(out.Claims, namedValue{"Confidence", confidence})
	if k.ReserveMV != nil {
		out.Claims = append(out.Claims, namedValue{"Reserve", measure("mV", *k.ReserveMV)})
	}
	return out
}

// percent prints a share that is never rounded up to certainty.
func percent(p float64) string {
	return strconv.Itoa(int(math.Floor(math.Min(p, 0.99)*100+1e-9))) + nbsp + "%"
}

func hours(h float64) string {
	if h >= 10 {
		return strconv.Itoa(int(math.Floor(h))) + nbsp + "h"
	}
	return bound(units.FormatMinutes(h * 60))
}

func band(b session.Band) estimate {
	if b.Q50 == 0 {
		return estimate{Mid: "not enough evidence yet"}
	}
	return estimate{measure("V", b.Q50), bare("V", b.Q05) + " to " + bare("V", b.Q95)}
}

func appendGain(to []namedValue, label string, g *session.Gain) []namedValue {
	if g == nil {
		return append(to, namedValue{label, "not enough evidence yet"})
	}
	text := fmt.Sprintf("about %+.1f%s%% (%+.1f\u00a0to\u00a0%+.1f)", (g.Ratio-1)*100, nbsp, (g.Ratio95[0]-1)*100, (g.Ratio95[1]-1)*100)
	if g.Verdict != "" {
		text += ", " + g.Verdict
	}
	return append(to, namedValue{label, text})
}

func (e *evidenceView) setTrials(trials []trial.Trial) {
	counts := map[string]int{}
	for _, t := range trials {
		mark := outcomeMark(t.Outcome)
		counts[mark]++
		row := trialRow{N: t.N, Load: loadName(t.Load), Result: outcomeName(t.Outcome), Mark: mark, Ran: ran(t)}
		row.Ratio, row.Voltage = stock, "not read"
		if t.Settings.Ratio > 0 {
			row.Ratio = t.Settings.Ratio.String()
		}
		if t.Readings.LoadVoltage > 0 {
			row.Voltage = measure("V", float64(t.Readings.LoadVoltage))
		}
		e.Trials = append(e.Trials, row)
	}
	for _, c := range []countView{{Mark: "done", Word: "clean"}, {Mark: "failed", Word: "failed"}, {Mark: "hot", Word: "too hot"}, {Mark: "skipped", Word: "stopped"}} {
		if c.N = counts[c.Mark]; c.N > 0 {
			e.Counts = append(e.Counts, c)
		}
	}
}

func ran(t trial.Trial) string {
	switch {
	case t.TimeUnknown:
		return "within " + bound(units.FormatMinutes(float64(t.PlannedMinutes)))
	case t.Minutes == 0 && t.Outcome.Failed():
		return "at once"
	}
	return bound(units.FormatMinutes(float64(t.Minutes)))
}
