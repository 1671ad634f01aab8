package planner

import (
	"fmt"

	"belay/internal/memtiming"
	"belay/internal/trial"
)

// rateStep is the step of the data rate, MT/s. Common practice, no source:
// firmware offers steps of 100 to 267.
const rateStep = 200

// memoryProfile enables the kit's rated profile, or finds the rate that holds.
func memoryProfile(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.base()
	m := s.Machine
	if m.KitRate == 0 {
		return nil, s.keep(settings, "The kit's rating is not known, so the memory stays as delivered.")
	}
	mine := s.mine()
	if t := last(mine); t != nil && t.Outcome == trial.Clean &&
		(t.Readings.DataRate == 0 || SameRate(t.Readings.DataRate, t.Settings.DataRate)) {
		return nil, s.keep(t.Settings, fmt.Sprintf("The memory ran clean at %d MT/s.", t.Settings.DataRate))
	}
	failures := 0
	for _, t := range mine {
		if t.Outcome.Failed() {
			failures++
		}
	}
	rate := m.KitRate - failures*rateStep
	if failures > 3 || len(mine) > 6 {
		return nil, s.keep(settings, "No rate of the profile ran clean. The memory stays at the standard's speed.")
	}
	settings.MemoryProfile, settings.DataRate = "on", rate
	settings.CL, settings.TRCD, settings.TRP, settings.TRAS = m.KitCL, m.KitTRCD, m.KitTRP, m.KitTRAS
	if ceiling := s.Limits.DRAMCeiling(m.MemoryStandard); m.KitVoltage > 0 {
		settings.DRAMVoltage = min(m.KitVoltage, ceiling)
	}
	because := "The kit is rated above the standard's speed, but runs at it only when the profile is on."
	if failures > 0 {
		because = fmt.Sprintf("The rated profile failed. The same timings at %d MT/s are easier to hold.", rate)
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.Memory, Minutes: memoryMinutes,
		Because: because, IfClean: "The profile stays on.", IfFailed: "The next lower data rate follows.",
	}, nil
}

// memory changes one thing at a time from the profile that held, and takes
// the change next that is expected to gain most per hour.
func memory(s *search) (*trial.Proposal, *trial.Ending) {
	keep := s.base()
	if keep.DataRate == 0 || keep.CL == 0 {
		return nil, s.keep(keep, "The memory profile is not in use, so there is nothing to refine.")
	}
	mine := s.mine()
	failed, taken := map[string]bool{}, map[string]int{}
	for _, t := range mine {
		name := moveOf(keep, t.Settings)
		if t.Outcome == trial.Clean {
			keep = t.Settings
			taken[name]++
		} else {
			failed[name] = true
		}
	}
	if t := last(mine); t != nil && t.Outcome == trial.NoBoot {
		for name := range taken { // a PC that does not start: one change of each kind is enough
			failed[name] = true
		}
	}
	best, pays := bestStep(s.memorySteps(keep, failed, taken))
	if !pays || len(mine) >= mostMemory {
		return nil, s.keep(keep, "No further memory step is likely to hold and to gain enough for its time.")
	}
	return &trial.Proposal{
		Settings: best.settings, Load: trial.Memory, Minutes: best.minutes,
		Because: fmt.Sprintf("One step of %s, and nothing else. So a failure has one cause. %s", best.name, best.text()),
		IfClean: "This step stays, and the next one that pays follows.", IfFailed: "Back to the last memory setting that held.",
	}, nil
}

// mostMemory is how many trials the memory search may take. Chosen: an evening.
const mostMemory = 8

// memoryNames are the kinds of change, by the field that differs.
var memoryNames = map[string]string{"data_rate_mts": "data rate", "cl": "CL", "trcd": "tRCD", "trp": "tRP", "tras": "tRAS"}

// memorySteps are the legal single changes from the settings that have not
// failed and that nothing forbids.
func (s *search) memorySteps(from trial.Settings, failed map[string]bool, taken map[string]int) []step {
	standard := memtiming.DDR4
	if s.Machine.MemoryStandard == "ddr5" {
		standard = memtiming.DDR5
	}
	var out []step
	for _, c := range memtiming.Next(memtiming.Settings{
		Standard: standard, Rate: from.DataRate, CL: from.CL, TRCD: from.TRCD, TRP: from.TRP, TRAS: from.TRAS,
	}, memtiming.EvenWorkload, 0, 0) {
		name := memoryNames[c.Changed]
		x := from
		x.DataRate, x.CL, x.TRCD, x.TRP, x.TRAS = c.Settings.Rate, c.Settings.CL, c.Settings.TRCD, c.Settings.TRP, c.Settings.TRAS
		if !failed[name] && s.safe(x, trial.Memory) {
			out = append(out, step{settings: x, name: name, gain: c.Gain, holds: holding(taken[name]), minutes: memoryMinutes})
		}
	}
	return out
}

// moveOf names the move that leads from one setting to the other.
func moveOf(from, to trial.Settings) string {
	switch {
	case to.DataRate != from.DataRate:
		return memoryNames["data_rate_mts"]
	case to.CL != from.CL:
		return memoryNames["cl"]
	case to.TRCD != from.TRCD:
		return memoryNames["trcd"]
	case to.TRP != from.TRP:
		return memoryNames["trp"]
	}
	return memoryNames["tras"]
}
