package scene

import (
	"slices"

	"belay/internal/event"
	"belay/internal/flow"
	"belay/internal/trial"
	"belay/internal/units"
)

// tuned is what has been found on the invented PC, from stage to stage.
var tuned = trial.Settings{
	Ratio: 51, CacheRatio: 44, SetVoltage: 1.285, VoltageMode: "static", LoadLine: "level 4", SustainedLimit: 4095, ShortLimit: 4095,
	MemoryProfile: "on", DataRate: 3600, CL: 18, TRCD: 22, TRP: 22, TRAS: 42, DRAMVoltage: 1.35, WideVectorOffset: 2,
}

// endings are the searches and how far the settings are when each has ended.
var endings = []struct {
	search string
	reach  func(*trial.Settings)
}{
	{"stock", func(s *trial.Settings) { *s = trial.Settings{} }},
	{"power-cap", func(s *trial.Settings) { *s = trial.Settings{SustainedLimit: 4095, ShortLimit: 4095} }},
	{"memory-profile", func(s *trial.Settings) {
		*s = trial.Settings{SustainedLimit: 4095, ShortLimit: 4095, MemoryProfile: "on", DataRate: 3600, DRAMVoltage: 1.35}
	}},
	{"voltage-mode", func(s *trial.Settings) { s.Ratio, s.CacheRatio, s.SetVoltage, s.WideVectorOffset = 0, 0, 1.25, 0 }},
	{"core", func(s *trial.Settings) { s.WideVectorOffset, s.CacheRatio = 0, 0 }},
	{"wide-vector", func(s *trial.Settings) { s.CacheRatio = 0 }},
	{"memory", func(s *trial.Settings) { s.CacheRatio = 0 }},
	{"cache", func(*trial.Settings) {}},
	{"together", func(*trial.Settings) {}},
	{"daily", func(s *trial.Settings) { s.Ratio, s.SetVoltage, s.VoltageMode = 50, 1.26, "adaptive" }},
}

// evidence is what the stages before the given one have left behind.
func evidence(g *flow.Graph, stage string) []event.Payload {
	at := slices.IndexFunc(g.Stages, func(s flow.Stage) bool { return s.ID == stage })
	var out []event.Payload
	n := 0
	for i, st := range g.Stages {
		if i >= at {
			break
		}
		for _, e := range endings {
			if e.search != st.ID && !(e.search == "stock" && st.ID == "baseline") {
				continue
			}
			keep := tuned
			e.reach(&keep)
			out = append(out, event.SettingsConfirmed{Settings: keep})
			for _, t := range trials(st.ID, e.search, keep) {
				n++
				t.N = n
				out = append(out, event.TrialEnded{Trial: t})
			}
			out = append(out, event.SearchEnded{Ending: trial.Ending{Search: e.search, Keep: keep, Because: "This held in the trials so far."}})
		}
	}
	return out
}

// trials are the invented trials of one search.
func trials(stage, search string, keep trial.Settings) []trial.Trial {
	t := trial.Trial{
		Stage: stage, Load: trial.Scalar, Settings: keep, PlannedMinutes: 10, Outcome: trial.Clean, Minutes: 10,
		Readings: trial.Readings{LoadVoltage: 1.207, CoreTemp: 78, AirTemp: 22, PackagePower: 198, Clock: 5100, Score: 1043, Scores: []float64{1041, 1043, 1046}},
	}
	switch search {
	case "stock":
		t.Readings = trial.Readings{LoadVoltage: 1.098, CoreTemp: 61, AirTemp: 22, PackagePower: 125, Clock: 4200, Score: 868, Scores: []float64{866, 868, 871}}
	case "power-cap", "memory-profile", "voltage-mode":
		t.Readings = trial.Readings{LoadVoltage: 1.165, CoreTemp: 72, AirTemp: 22, PackagePower: 172, Clock: 4700, Score: 962, Scores: []float64{960, 962, 965}}
	case "core":
		low, froze := t, t
		low.Settings.Ratio, low.Settings.SetVoltage, low.Readings.LoadVoltage, low.Readings.Clock = 49, 1.235, 1.158, 4900
		froze.Settings.Ratio, froze.Settings.SetVoltage = 52, 1.29
		froze.Outcome, froze.Minutes = trial.Froze, 3.5
		froze.Readings = trial.Readings{LoadVoltage: 1.211, CoreTemp: 80, AirTemp: 22, PackagePower: 205, Clock: 5200}
		return []trial.Trial{low, froze, t}
	case "memory", "cache":
		t.Load = map[string]trial.Load{"memory": trial.Memory, "cache": trial.Cache}[search]
		t.Readings.CoverageGB = 310
	case "together", "daily":
		t.Load, t.PlannedMinutes, t.Minutes = trial.Mixed, 60, 60
	}
	return []trial.Trial{t}
}

// proposal is an invented next trial of a search.
func proposal(search string) trial.Proposal {
	next := tuned
	next.SetVoltage = 1.275
	changed := []string{"set_voltage_v"}
	load, minutes := trial.Scalar, units.Minutes(8)
	switch search {
	case "power-cap":
		changed = []string{"sustained_limit_w", "short_limit_w"}
	case "memory-profile":
		changed, load = []string{"memory_profile", "data_rate_mts"}, trial.Memory
	case "wide-vector":
		changed, load = []string{"wide_vector_offset"}, trial.WideVector
	case "memory":
		next.CL, changed, load, minutes = 16, []string{"cl"}, trial.Memory, 20
	case "cache":
		next.CacheRatio, changed, load = 45, []string{"cache_ratio"}, trial.Cache
	case "together":
		changed, load, minutes = nil, trial.Mixed, 60
	case "daily":
		next.Ratio, next.VoltageMode, next.SetVoltage = 50, "adaptive", 1.26
		changed, load, minutes = []string{"ratio", "voltage_mode", "set_voltage_v"}, trial.Bursty, 30
	}
	return trial.Proposal{
		Search: search, Settings: next, Changed: changed, Load: load, Minutes: minutes, PassProbability: 0.7,
		Expect: &trial.Expectation{
			LoadVoltage: trial.Interval{1.186, 1.197, 1.208}, CoreTemp: trial.Interval{71, 76, 81}, PackagePower: trial.Interval{178, 190, 203},
		},
		Because:  "This tells most about the voltage that the ratio needs, for the minutes that it takes.",
		IfClean:  "The next trial goes one ratio up.",
		IfFailed: "The next trial keeps the ratio and takes a little more voltage.",
	}
}
