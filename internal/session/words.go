package session

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
)

var placeholder = regexp.MustCompile(`\{([a-z_]+)\}`)

// notYet stands for a value that nothing is known of.
const notYet = "not known yet"

// words returns a function that fills the placeholders of a text with this
// step's values.
func (s *State) words() func(string) string {
	return func(text string) string {
		if !strings.Contains(text, "{") {
			return text
		}
		return placeholder.ReplaceAllStringFunc(text, func(m string) string {
			if w := s.word(m[1 : len(m)-1]); w != "" {
				return w
			}
			return notYet
		})
	}
}

// word returns the value of one placeholder, or "" if nothing is known of it.
// The names are flow.Placeholders.
func (s *State) word(name string) string {
	next := s.Settings
	if s.Proposal != nil {
		next = s.Proposal.Settings
	}
	limits := s.graph.Platform.Limits.For(s.Machine)
	switch name {
	case "ratio":
		return s.ratioWord(next.Ratio)
	case "present_ratio":
		return s.ratioWord(s.Settings.Ratio)
	case "clock":
		return s.clockWord(next.Ratio)
	case "present_clock":
		return s.clockWord(s.Settings.Ratio)
	case "set_voltage":
		return voltWord(next.SetVoltage)
	case "present_voltage":
		return voltWord(s.Settings.SetVoltage)
	case "voltage_change":
		return changeWord(s.Settings.SetVoltage, next.SetVoltage)
	case "dram_voltage":
		return voltWord(next.DRAMVoltage)
	case "present_dram_voltage":
		return voltWord(s.Settings.DRAMVoltage)
	case "ceiling":
		return limits.CoreCeiling.String()
	case "set_ceiling":
		return limits.SetCeiling().String()
	case "dram_ceiling":
		return limits.DRAMCeiling(s.Machine.MemoryStandard).String()
	case "temp_limit":
		return limits.TempLimit.String()
	case "hot_limit":
		return (limits.TempLimit + s.graph.Platform.Limits.TempMargin).String()
	case "power_limit":
		return limits.PowerLimit.String()
	case "sustained_limit":
		return wattWord(next.SustainedLimit)
	case "stock_sustained_limit":
		return wattWord(s.Machine.SustainedLimit)
	case "suggested_cap":
		return wattWord(planner.HeldPower(s.planInput("power-cap")))
	case "cache_ratio":
		return wholeWord(int(next.CacheRatio), "automatic")
	case "present_cache_ratio":
		return wholeWord(int(s.Settings.CacheRatio), "automatic")
	case "wide_vector_offset":
		return strconv.Itoa(next.WideVectorOffset)
	case "data_rate":
		return rateWord(next.DataRate)
	case "present_data_rate":
		return rateWord(s.Settings.DataRate)
	case "kit_rate":
		return rateWord(s.Machine.KitRate)
	case "timings":
		return timingsWord(next)
	case "load_line":
		return orText(next.LoadLine, "as delivered")
	case "low_end":
		return units.Format("mV", next.LowEndMV)
	}
	return s.storyWord(name)
}

// storyWord returns the placeholders that tell of trials and gains.
func (s *State) storyWord(name string) string {
	switch name {
	case "expected_load_voltage", "expected_temp", "expected_power":
		return s.expectedWord(name)
	case "load", "load_text", "minutes", "because", "if_clean", "if_failed":
		return s.proposalWord(name)
	case "trial":
		return strconv.Itoa(len(s.Trials) + 1)
	case "failures":
		return strconv.Itoa(s.facts().FailuresInRow)
	case "droop":
		if len(s.LoadLine) > 0 {
			droop, _ := planner.Droop(s.LoadLine)
			return units.Format("mV", droop)
		}
	case "gain_cap", "gain_tuning", "gain_total", "gain_last":
		return s.gainWord(name)
	case "suspect", "suspect_because":
		stage, because := s.suspect()
		if name == "suspect" {
			return s.stageTitle(stage)
		}
		return because
	case "keep":
		if k := s.Keep(); k != nil {
			return settingsText(k.Keep)
		}
	case "step_back":
		return strconv.Itoa(s.wishes().StepsBack)
	}
	return ""
}

func (s *State) proposalWord(name string) string {
	if s.Proposal == nil {
		for _, e := range s.Endings {
			if name == "because" && e.Search == s.Here().Plan {
				return e.Because
			}
		}
		return s.endingHere(name)
	}
	switch name {
	case "load":
		return string(s.Proposal.Load)
	case "load_text":
		return loadWords[s.Proposal.Load]
	case "minutes":
		return s.Proposal.Minutes.String()
	case "because":
		return s.Proposal.Because
	case "if_clean":
		return s.Proposal.IfClean
	}
	return s.Proposal.IfFailed
}

// endingHere is the reason for which the search of this stage ended.
func (s *State) endingHere(name string) string {
	stage := s.Here().Stage
	if stage == "baseline" {
		stage = "stock"
	}
	if e, ok := s.Endings[stage]; ok && name == "because" {
		return e.Because
	}
	return ""
}

// loadWords say what a load does, for a newcomer.
var loadWords = map[trial.Load]string{
	trial.Scalar:     "a heavy load on all cores without wide vectors, such as compressing or rendering",
	trial.WideVector: "a heavy load on all cores with the widest vectors, such as matrix work",
	trial.Cache:      "a load on all cores that works in the cache",
	trial.Memory:     "a memory check that covers nearly all of the memory",
	trial.Mixed:      "processor, cache and memory loads at the same time",
	trial.Bursty:     "short bursts, light work and idle spells",
}

func (s *State) expectedWord(name string) string {
	if s.Proposal == nil || s.Proposal.Expect == nil {
		return ""
	}
	e := s.Proposal.Expect
	switch name {
	case "expected_load_voltage":
		return about("V", e.LoadVoltage)
	case "expected_temp":
		return about("°C", e.CoreTemp)
	}
	return about("W", e.PackagePower)
}

// about prints a prediction with its honest width.
func about(unit string, x trial.Interval) string {
	return fmt.Sprintf("about %s (%s to %s)", units.Format(unit, x[1]), units.Format(unit, x[0]), units.Format(unit, x[2]))
}

func (s *State) stageTitle(id string) string {
	for _, st := range s.graph.Stages {
		if st.ID == id {
			return st.Title
		}
	}
	return ""
}

func (s *State) ratioWord(r units.Ratio) string {
	if r == 0 && s.Machine.StockRatio > 0 {
		return fmt.Sprintf("as delivered (%v)", s.Machine.StockRatio)
	}
	return wholeWord(int(r), "as delivered")
}

func (s *State) clockWord(r units.Ratio) string {
	if r == 0 {
		r = s.Machine.StockRatio
	}
	base := s.Machine.BaseClock
	if base == 0 {
		base = planner.UsualBaseClock
	}
	if r == 0 {
		return ""
	}
	return (units.Megahertz(r) * base).String()
}

func voltWord(v units.Volt) string {
	if v == 0 {
		return "automatic"
	}
	return v.String()
}

func wattWord(w units.Watt) string {
	if w == 0 {
		return "as delivered"
	}
	return w.String()
}

func rateWord(rate int) string {
	if rate == 0 {
		return "as delivered"
	}
	return units.Format("MT/s", float64(rate))
}

func wholeWord(n int, zero string) string {
	if n == 0 {
		return zero
	}
	return strconv.Itoa(n)
}

func orText(text, empty string) string {
	if text == "" {
		return empty
	}
	return text
}

func changeWord(from, to units.Volt) string {
	d := to - from
	switch {
	case from == 0 || to == 0:
		return "not comparable with automatic"
	case d > 1e-9:
		return d.String() + " higher than now"
	case d < -1e-9:
		return (-d).String() + " lower than now"
	}
	return "the same as now"
}

func timingsWord(s trial.Settings) string {
	if s.CL == 0 {
		return "as delivered"
	}
	return fmt.Sprintf("%d-%d-%d-%d", s.CL, s.TRCD, s.TRP, s.TRAS)
}
