// Package planner proposes the next trial of a search from all evidence so
// far, or ends the search with the setting to keep. It is pure: the same
// evidence gives the same proposal. No proposal passes a limit of safety.
package planner

import (
	"belay/internal/fault"
	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// UsualBaseClock is taken where the base clock is not known. Common practice,
// no source.
const UsualBaseClock units.Megahertz = 100

// MeterSlack is how far two readings of the same voltage may lie apart before
// they contradict each other. Common practice, no source: boards read 10 mV
// and more apart; chosen: three times that.
const MeterSlack units.Volt = 0.030

// Wishes are what the person asked for.
type Wishes struct {
	TargetH   float64 // mean hours between failures under heavy load
	StepsBack int     // ratio steps below the fastest that held, for daily use
	Hours     float64 // that the person will spend in all; 0: as many as it takes
	Priority  string  // fast, cool or quiet; "" is fast
	Mode      string  // static, adaptive or offset, for daily use
}

// Input is all that a proposal is computed from.
type Input struct {
	Search   string
	Stage    string
	Machine  trial.Machine
	Limits   safety.Limits  // as they hold for this PC
	Settings trial.Settings // in the firmware now
	Endings  map[string]trial.Ending
	Trials   []trial.Trial
	LoadLine []trial.Row // newest readings of set and load voltage and power
	Levels   int         // load-line levels measured
	Skipped  map[string]bool
	Wishes   Wishes
	Priors   *Priors // nil: those of the models
	Tuning   Tuning  // for comparisons; nothing in the zero value
}

// search is the state of one call.
type search struct {
	Input
	belief *belief
}

// Next returns either the next trial or the end of the search.
func Next(in Input) (*trial.Proposal, *trial.Ending) {
	in = wished(in)
	s := &search{Input: in, belief: believe(in)}
	find, ok := searches[in.Search]
	if !ok {
		return nil, s.blocked("This guide names a search that Belay does not know.")
	}
	p, e := find(s)
	if p == nil {
		return nil, e
	}
	s.finish(p)
	if vetoes := s.vet(p.Settings, p.Load); len(vetoes) > 0 {
		return nil, s.blocked("Nothing safe is left to try here. " + vetoes[0].Reason + " " + advice[vetoes[0].Rule])
	}
	return p, nil
}

// advice is what to do about a limit that leaves nothing to try.
var advice = map[safety.Rule]string{
	safety.Ceiling:  "Go on with what is proven; a flatter load line may give room.",
	safety.SetAbove: "Go on with what is proven; a flatter load line may give room.",
	safety.Memory:   "Go on with the memory setting that is proven.",
	safety.Cache:    "Go on with the cache ratio that is proven.",
	safety.Heat:     "Go on with what is proven; better cooling or a lower power limit gives room.",
	safety.Power:    "Go on with what is proven; a lower power limit gives room.",
	safety.Step:     "Prove a setting in between first.",
	safety.HotAgain: "Go on with what is proven; better cooling or a lower power limit gives room.",
	safety.BackOff:  "Go back to a setting that held, and see that nothing else is wrong.",
	safety.Unknown:  "Run a lower setting first, and read its temperature.",
}

var searches = map[string]func(*search) (*trial.Proposal, *trial.Ending){
	"stock":          stock,
	"power-cap":      powerCap,
	"memory-profile": memoryProfile,
	"voltage-mode":   voltageMode,
	"core":           core,
	"wide-vector":    wideVector,
	"memory":         memory,
	"cache":          cache,
	"together":       together,
	"daily":          daily,
}

// finish fills in what every proposal says.
func (s *search) finish(p *trial.Proposal) {
	p.Search = s.Search
	p.Changed = trial.Diff(s.Settings, p.Settings)
	if p.Changed == nil {
		p.Changed = []string{}
	}
	p.Expect = s.belief.expect(p.Settings, p.Load, p.Minutes)
	if p.PassProbability == 0 {
		p.PassProbability = s.belief.pass(p.Settings, p.Load, p.Minutes)
	}
}

func (s *search) vet(settings trial.Settings, load trial.Load) []safety.Veto {
	return s.Limits.Vet(safety.Candidate{
		Settings: settings, Load: load, Expect: s.belief.expect(settings, load, 0), Highest: s.belief.highest(settings, load),
	}, s.Machine.MemoryStandard, s.Trials)
}

// safe reports whether nothing forbids the settings under the load.
func (s *search) safe(settings trial.Settings, load trial.Load) bool {
	return len(s.vet(settings, load)) == 0
}

func (s *search) keep(settings trial.Settings, because string) *trial.Ending {
	return &trial.Ending{Search: s.Search, Keep: settings, Because: because}
}

// blocked ends the search with what earlier searches kept.
func (s *search) blocked(because string) *trial.Ending {
	return &trial.Ending{Search: s.Search, Blocked: true, Keep: s.base(), Because: because}
}

// Order is the order in which searches build on each other.
var Order = []string{
	"stock", "power-cap", "memory-profile", "voltage-mode", "core", "wide-vector", "memory", "cache", "together", "daily",
}

// base returns the settings to build on: what the searches before this one
// keep, the newest first.
func (s *search) base() trial.Settings {
	var base trial.Settings
	for _, name := range Order {
		if name == s.Search {
			break
		}
		if e, ok := s.Endings[name]; ok && !e.Blocked {
			base = e.Keep
		}
	}
	return base
}

// mine returns the trials of this stage, oldest first.
func (s *search) mine() []trial.Trial {
	var out []trial.Trial
	for _, t := range s.Trials {
		if t.Stage == s.Stage && t.Outcome != trial.Stopped {
			out = append(out, t)
		}
	}
	return out
}

func last(trials []trial.Trial) *trial.Trial {
	if len(trials) == 0 {
		return nil
	}
	return &trials[len(trials)-1]
}

// StandardRate is the highest data rate, in MT/s, that the memory standard
// itself defines for ordinary modules here. Source: JESD79-4 (3200) and the
// first release of JESD79-5 (4800, common practice), from memory.
func StandardRate(standard string) int {
	if standard == "ddr5" {
		return 4800
	}
	return 3200
}

// SameRate reports whether two data rates are the same but for rounding.
func SameRate(a, b int) bool {
	return a*100 >= b*98 && a*100 <= b*102
}

// CapInForce reports whether the baseline ran below its own all-core clock
// without running hot: a power cap held it down.
func CapInForce(m trial.Machine, trials []trial.Trial) bool {
	for _, t := range trials {
		if t.Stage == "baseline" && t.Outcome == trial.Clean && t.Readings.Clock > 0 && m.StockRatio > 0 {
			clock := m.BaseClock
			if clock == 0 {
				clock = UsualBaseClock
			}
			return t.Readings.Clock < clock*units.Megahertz(m.StockRatio)-clock/2
		}
	}
	return false
}

// Droop returns how far the load voltage lies below the set voltage at the
// highest power of the readings, and how far above it at most, both in mV.
func Droop(rows []trial.Row) (droop, overshoot float64) {
	power := -1.0
	for _, r := range rows {
		d := (r["set_voltage_v"] - r["load_voltage_v"]) * 1000
		overshoot = max(overshoot, -d)
		if r["package_power_w"] > power {
			power, droop = r["package_power_w"], d
		}
	}
	return droop, overshoot
}

// HeldPower is the package power that the cooler holds at the limit, from the
// trials; 0 if they do not tell.
func HeldPower(in Input) units.Watt {
	b := believe(in)
	hold, err := b.heat.Hold(in.Limits.TempLimit, b.air, 0.9)
	if err != nil && !fault.Is(err, fault.Unsafe) {
		return 0
	}
	return hold.Cap
}
