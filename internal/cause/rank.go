package cause

import (
	"math"
	"slices"
	"sort"

	"belay/internal/units"
)

const (
	// firmwareMinutes and crashMinutes are what a visit to the setup screen
	// and a crash cost. Common practice, no source.
	firmwareMinutes = 5
	crashMinutes    = 8
	// leastBits is the information below which a test is not worth naming.
	// Chosen: it moves even odds by less than a tenth.
	leastBits = 0.01
	// sureEnough is the chance from which acting beats asking. Chosen: nine in ten.
	sureEnough = 0.9
)

// Ranked is a cause with its probability.
type Ranked struct {
	Cause       Cause
	Probability float64
	Because     []string // features and tests that speak for it most, best first
}

// Rank returns every cause of the table, likeliest first; equal ones keep the
// table's order. Probabilities sum to 1. The table must be valid (Validate);
// a table without causes gives nothing.
func Rank(t Table, e Evidence) []Ranked {
	p := posterior(t, e)
	out := make([]Ranked, len(p))
	for i, c := range t.Causes {
		out[i] = Ranked{Cause: c, Probability: p[i], Because: because(t, e, i)}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Probability > out[j].Probability })
	return out
}

// posterior multiplies prior and chances on the log scale.
func posterior(t Table, e Evidence) []float64 {
	logs := make([]float64, len(t.Causes))
	for i, c := range t.Causes {
		logs[i] = math.Log(c.Prior)
	}
	for _, row := range evidenceRows(t, e) {
		for i, p := range row.chances {
			logs[i] += math.Log(p)
		}
	}
	return normalised(logs)
}

// evidenceRow is one finding with its chance under each cause.
type evidenceRow struct {
	name    string
	chances []float64
}

// evidenceRows returns the findings that the table knows.
func evidenceRows(t Table, e Evidence) []evidenceRow {
	var rows []evidenceRow
	for _, k := range e.known() {
		if t.has(k.feature, k.value) {
			rows = append(rows, evidenceRow{k.feature, featureChances(t, k.feature, k.value)})
		}
	}
	for _, d := range e.Tests {
		x, ok := t.test(d.Test)
		if !ok || x.Observe != "" {
			continue
		}
		chances := make([]float64, len(t.Causes))
		for i, c := range t.Causes {
			chances[i] = x.Fails[c.ID]
			if !d.Failed {
				chances[i] = 1 - chances[i]
			}
		}
		rows = append(rows, evidenceRow{d.Test, chances})
	}
	return rows
}

func featureChances(t Table, feature, value string) []float64 {
	chances := make([]float64, len(t.Causes))
	for i, c := range t.Causes {
		chances[i] = c.chance(feature, value)
	}
	return chances
}

// because names the findings that are at least as frequent under cause i as
// on average, the strongest first.
func because(t Table, e Evidence, i int) []string {
	type weight struct {
		name string
		lift float64
	}
	var ws []weight
	for _, row := range evidenceRows(t, e) {
		var average float64
		for _, p := range row.chances {
			average += p / float64(len(row.chances))
		}
		if row.chances[i] > average {
			ws = append(ws, weight{row.name, row.chances[i] / average})
		}
	}
	sort.SliceStable(ws, func(a, b int) bool { return ws[a].lift > ws[b].lift })
	var names []string
	for _, w := range ws {
		names = append(names, w.name)
	}
	return names
}

// Choice is the test that separates the causes best for its time.
type Choice struct {
	Test          Test          // ID is empty if no test helps
	Bits          float64       // expected information
	Minutes       units.Minutes // expected, with setup screen and crash
	BitsPerMinute float64
	Results       []Result // what each outcome would lead to
	Warnings      []string
}

// Result is one outcome of a test with what it would mean.
type Result struct {
	Outcome     string // "fails" or "holds", or a value of the feature looked up
	Probability float64
	Likeliest   string  // id of the cause that would then lead
	Then        float64 // its probability
}

// BestTest returns the test with the most expected bits for each expected
// minute. Tests already run and features already known are left out. The
// table must be valid.
func BestTest(t Table, e Evidence) Choice {
	p := posterior(t, e)
	var best Choice
	for _, x := range t.Tests {
		if done(e, x) {
			continue
		}
		if c := judge(t, p, x); c.Bits >= leastBits && c.BitsPerMinute > best.BitsPerMinute {
			best = c
		}
	}
	if best.Test.ID == "" {
		best.Warnings = append(best.Warnings, "No trial listed would tell the causes apart any further.")
	}
	if len(p) > 0 && slices.Max(p) >= sureEnough {
		best.Warnings = append(best.Warnings, "The first cause is likely enough. Act on it before another trial.")
	}
	return best
}

func done(e Evidence, x Test) bool {
	for _, k := range e.known() {
		if k.feature == x.Observe {
			return true
		}
	}
	for _, d := range e.Tests {
		if d.Test == x.ID {
			return true
		}
	}
	return false
}

// judge computes expected information and time of one test.
func judge(t Table, p []float64, x Test) Choice {
	c := Choice{Test: x, Bits: entropy(p)}
	minutes := x.Minutes + firmwareMinutes*float64(x.FirmwareChanges)
	for _, o := range outcomes(t, x) {
		joint := make([]float64, len(p))
		var total float64
		for i := range p {
			joint[i] = p[i] * o.chances[i]
			total += joint[i]
		}
		if total <= 0 {
			continue
		}
		lead := 0
		for i := range joint {
			joint[i] /= total
			if joint[i] > joint[lead] {
				lead = i
			}
		}
		c.Bits -= total * entropy(joint)
		c.Results = append(c.Results, Result{o.name, total, t.Causes[lead].ID, joint[lead]})
		if o.name == "fails" && x.Observe == "" {
			minutes += total * x.CrashShare * crashMinutes
		}
	}
	c.Bits = math.Max(0, c.Bits) // rounding
	c.Minutes = units.Minutes(minutes)
	c.BitsPerMinute = c.Bits / minutes
	return c
}

// outcomes returns what a test can show, with its chance under each cause.
func outcomes(t Table, x Test) []evidenceRow {
	if x.Observe != "" {
		f, _ := t.feature(x.Observe)
		var rows []evidenceRow
		for _, v := range f.Values {
			rows = append(rows, evidenceRow{v.ID, featureChances(t, f.ID, v.ID)})
		}
		return rows
	}
	fails := evidenceRow{"fails", make([]float64, len(t.Causes))}
	holds := evidenceRow{"holds", make([]float64, len(t.Causes))}
	for i, c := range t.Causes {
		fails.chances[i], holds.chances[i] = x.Fails[c.ID], 1-x.Fails[c.ID]
	}
	return []evidenceRow{fails, holds}
}

// entropy returns -sum p log2 p in bits.
func entropy(p []float64) float64 {
	var h float64
	for _, v := range p {
		if v > 0 {
			h -= v * math.Log2(v)
		}
	}
	return h
}

// normalised turns log weights into probabilities.
func normalised(logs []float64) []float64 {
	if len(logs) == 0 {
		return nil
	}
	top := slices.Max(logs)
	out := make([]float64, len(logs))
	var total float64
	for i, v := range logs {
		out[i] = math.Exp(v - top)
		total += out[i]
	}
	for i := range out {
		out[i] /= total
	}
	return out
}
