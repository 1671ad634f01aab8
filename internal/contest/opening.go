package contest

import (
	"math"

	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/virtualrig"
)

// mostOpening is how many trials one search of the opening may take. Chosen:
// far more than any takes.
const mostOpening = 20

// opening takes a rig through the guide up to the search for the core, the
// same for all strategies: both baselines, then the static voltage and the
// load line. Its hours are nobody's.
func opening(rig *virtualrig.Rig, o Options) planner.Input {
	m := rig.Machine()
	in := planner.Input{
		Machine: m, Limits: o.Limits.For(m), Endings: map[string]trial.Ending{},
		Skipped: map[string]bool{}, Wishes: planner.Wishes{TargetH: o.TargetH, StepsBack: 1, Mode: "adaptive"},
	}
	for _, s := range []struct{ search, stage string }{
		{"stock", "baseline"}, {"power-cap", "power-cap"}, {"voltage-mode", "voltage-mode"},
	} {
		in.Search, in.Stage = s.search, s.stage
		for range mostOpening {
			p, e := planner.Next(in)
			if e != nil {
				in.Endings[s.search] = *e
				break
			}
			in.Settings = p.Settings
			if s.search == "voltage-mode" {
				in.Settings.LoadLine = loadLine(rig, in)
			}
			n := len(in.Trials) + 1
			t := report(rig, n, s.stage, in.Settings, p.Load, p.Minutes)
			if s.search == "voltage-mode" {
				if rows := lineReadings(rig, n, in.Settings); len(rows) > 0 {
					in.LoadLine, in.Levels = rows, in.Levels+1
				}
			}
			in.Trials = append(in.Trials, t)
		}
	}
	return in
}

// report runs a trial and returns it as a person would type it in.
func report(rig *virtualrig.Rig, n int, stage string, s trial.Settings, load trial.Load, minutes units.Minutes) trial.Trial {
	t := rig.Run(n, s, load, minutes)
	t.Stage = stage
	if t.Outcome != trial.Clean {
		t.Minutes = units.Minutes(math.Round(float64(t.Minutes)*10) / 10)
	}
	r := &t.Readings
	r.LoadVoltage = units.Volt(math.Round(float64(r.LoadVoltage)*1000) / 1000)
	r.CoreTemp = units.Celsius(math.Round(float64(r.CoreTemp)))
	r.PackagePower = units.Watt(math.Round(float64(r.PackagePower)))
	return t
}

// loadLine chooses the level: the middle one first, then the next flatter one
// after too much droop, the next steeper one after an overshoot.
func loadLine(rig *virtualrig.Rig, in planner.Input) string {
	levels := rig.LoadLines()
	at := len(levels) / 2
	for i, name := range levels {
		if name != in.Settings.LoadLine {
			continue
		}
		at = i
		if in.Levels > 0 {
			_, over := planner.Droop(in.LoadLine)
			if over > 1000*float64(planner.MeterSlack) {
				at = max(i-1, 0)
			} else {
				at = min(i+1, len(levels)-1)
			}
		}
	}
	return levels[at]
}

// lineReadings reads set and load voltage under a light, a heavy and the
// heaviest load.
func lineReadings(rig *virtualrig.Rig, n int, s trial.Settings) []trial.Row {
	var rows []trial.Row
	for _, load := range []trial.Load{trial.Bursty, trial.Scalar, trial.WideVector} {
		r := report(rig, n, "", s, load, 3).Readings
		if r.LoadVoltage > 0 && r.PackagePower > 0 {
			rows = append(rows, trial.Row{
				"set_voltage_v": float64(s.SetVoltage), "load_voltage_v": float64(r.LoadVoltage), "package_power_w": float64(r.PackagePower),
			})
		}
	}
	return rows
}
