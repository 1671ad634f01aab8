package chart

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot/vg/draw"

	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wording"
)

func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// empty is a chart with nothing to draw yet.
func empty(c Chart, missing string) Chart {
	c.Empty, c.Says, c.width, c.height = true, missing, wide, 60
	k := newCanvas(wide, 60)
	d := draw.New(k)
	d.FillText(style(inkAxis, draw.XCenter, draw.YCenter), d.Center(), "Not enough evidence yet.")
	c.body = k.b.String()
	return c
}

// spoken are the loads that the curve of the need is about.
func spoken(l trial.Load) bool { return l == trial.Scalar || l == trial.Mixed }

// ratioOf is the all-core ratio that a trial ran at, 0 if it is not known.
func (d Data) ratioOf(t trial.Trial) units.Ratio {
	if t.Settings.Ratio == 0 {
		return d.Stock
	}
	return t.Settings.Ratio
}

// need draws the load voltage that each ratio needs: trials, band, keep and
// ceiling.
func need(d Data) Chart {
	c := Chart{
		Name: "need", Title: "Voltage needed at each ratio",
		Table: Table{Head: []string{"Ratio", "Needed for the target", "5 % to 95 %"}},
	}
	var b band
	for _, n := range d.Evidence.Need {
		if n.Load != trial.Scalar || n.Target.Q50 == 0 {
			continue
		}
		b.x = append(b.x, float64(n.Ratio))
		b.low, b.mid, b.high = append(b.low, n.Target.Q05), append(b.mid, n.Target.Q50), append(b.high, n.Target.Q95)
		c.Table.Rows = append(c.Table.Rows, []string{
			strconv.Itoa(n.Ratio), wording.Measure("V", n.Target.Q50), wording.Bare("V", n.Target.Q05) + " to " + wording.Measure("V", n.Target.Q95),
		})
	}
	if len(b.x) == 0 {
		return empty(c, "No trial has shown yet which voltage a ratio needs. The chart begins with the first ratio that you try.")
	}
	points := d.needMarks(b.x)
	var kinds []string
	for _, m := range points {
		if !slices.Contains(kinds, m.kind) {
			kinds = append(kinds, m.kind)
		}
	}
	p := newPanel("Core ratio")
	p.X.Tick.Marker, p.Y.Tick.Marker = tickerOf(whole), nice(2)
	p.X.Min, p.X.Max = b.x[0]-0.5, b.x[len(b.x)-1]+0.5
	if len(points) > 0 {
		lo, _, ylo, yhi := points.DataRange()
		p.X.Min = math.Min(p.X.Min, lo-0.5)
		p.Y.Min, p.Y.Max = ylo, yhi
	} else {
		p.Y.Min, p.Y.Max = slices.Min(b.low), slices.Max(b.high)
	}
	// The widest ends of the band may leave the picture; its middle may not.
	p.Y.Min = math.Min(p.Y.Min, math.Max(slices.Min(b.low), slices.Min(b.mid)-0.05)) - 0.01
	p.Y.Max = math.Max(p.Y.Max, math.Min(slices.Max(b.high), slices.Max(b.mid)+0.05)) + 0.01
	ceiling := float64(d.Ceiling)
	if ceiling > p.Y.Max && ceiling < p.Y.Max+0.08 {
		p.Y.Max = ceiling + 0.015
	}
	p.Add(grid{}, b)
	if ceiling > 0 {
		p.Add(level{ceiling, "ceiling " + wording.Measure("V", ceiling)})
	}
	p.Add(points)
	const high = 330
	k := newCanvas(wide, high)
	all := draw.New(k)
	legend(all, "Load voltage, V", ordered(kinds))
	p.Draw(draw.Crop(all, 0, -6, 0, -topRoom))
	c.body, c.width, c.height = k.b.String(), wide, high
	c.Says = d.needSays(b, points, ceiling, p.Y.Max)
	return c
}

// ordered puts marks into the order of their legend.
func ordered(kinds []string) []string {
	var out []string
	for _, k := range []string{"done", "failed", "hot", "skipped", "keep"} {
		if slices.Contains(kinds, k) {
			out = append(out, k)
		}
	}
	return out
}

// needMarks are the trials under all-core and mixed load whose ratio and load
// voltage are known, and the keep.
func (d Data) needMarks(ratios []float64) marks {
	var out marks
	for _, t := range d.Trials {
		ratio := float64(d.ratioOf(t.Trial))
		v, name := float64(t.Readings.LoadVoltage), trialName(t)
		if drop, ok := d.drop(); v == 0 && ok && t.Settings.SetVoltage > 0 { // a freeze leaves no reading
			v = float64(t.Settings.SetVoltage) - drop
			name += ", load voltage estimated at " + wording.Measure("V", v)
		}
		if !spoken(t.Load) || ratio == 0 || v == 0 || t.Outcome == trial.Stopped || ratio < ratios[0]-2 {
			continue
		}
		out = append(out, mark{ratio, v, wording.Mark(t.Outcome), name})
	}
	if at, v, ok := d.keepAt(); ok {
		out = append(out, mark{at, v, "keep", fmt.Sprintf("The keep: ratio %s at about %s under load", tenth(at), wording.Measure("V", v))})
	}
	return out
}

// drop is the usual fall from set to load voltage, the median over the static
// trials that have both.
func (d Data) drop() (float64, bool) {
	var falls []float64
	for _, t := range d.Trials {
		if s, l := t.Settings.SetVoltage, t.Readings.LoadVoltage; spoken(t.Load) && s > 0 && l > 0 && t.Settings.VoltageMode == "static" {
			falls = append(falls, float64(s-l))
		}
	}
	if len(falls) == 0 {
		return 0, false
	}
	slices.Sort(falls)
	return falls[len(falls)/2], true
}

func trialName(t Trial) string {
	name := fmt.Sprintf("Trial %d: %s, %s", t.N, wording.Load(t.Load), wording.Outcome(t.Outcome))
	if t.Readings.LoadVoltage > 0 {
		name += " at " + wording.Measure("V", float64(t.Readings.LoadVoltage))
	}
	return name + ", " + wording.Ran(t.Trial)
}

// keepAt is where the keep lies: the need of its ratio and the reserve.
func (d Data) keepAt() (ratio, volt float64, ok bool) {
	k := d.Evidence.Keep
	if k == nil || k.ReserveMV == nil {
		return 0, 0, false
	}
	for _, n := range d.Evidence.Need {
		if n.Load == trial.Scalar && n.Ratio == int(k.Settings.Ratio) {
			return float64(n.Ratio), n.Target.Q50 + *k.ReserveMV/1000, true
		}
	}
	return 0, 0, false
}

func (d Data) needSays(b band, points marks, ceiling, top float64) string {
	last := len(b.x) - 1
	says := fmt.Sprintf("For the target, ratio %s needs about %s under load.", tenth(b.x[0]), wording.Measure("V", b.mid[0]))
	if last > 0 {
		says += fmt.Sprintf(" Ratio %s needs about %s.", tenth(b.x[last]), wording.Measure("V", b.mid[last]))
	}
	if ratio, v, ok := d.keepAt(); ok {
		says += fmt.Sprintf(" The keep is ratio %s at about %s.", tenth(ratio), wording.Measure("V", v))
	}
	if ceiling > 0 {
		says += " The ceiling is " + wording.Measure("V", ceiling)
		if ceiling > top {
			says += ", above this picture"
		}
		says += "."
	}
	n := map[string]int{}
	for _, m := range points {
		n[m.kind]++
	}
	return says + fmt.Sprintf(" Trials shown: %d clean, %d failed, %d hot.", n["done"], n["failed"], n["hot"])
}
