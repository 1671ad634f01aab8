package planner

import (
	"fmt"

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

// memoryMove is one change of one memory setting.
type memoryMove struct {
	name string
	make func(trial.Settings) trial.Settings
}

// moves are tried in this order, each until it fails once. Common practice,
// no source: data rate first, since it brings the most.
var moves = []memoryMove{
	{"data rate", func(s trial.Settings) trial.Settings { s.DataRate += rateStep; return s }},
	{"CL", func(s trial.Settings) trial.Settings { s.CL--; return s }},
	{"tRCD", func(s trial.Settings) trial.Settings { s.TRCD--; return s }},
	{"tRP", func(s trial.Settings) trial.Settings { s.TRP--; return s }},
}

// memory changes one thing at a time from the profile that held.
func memory(s *search) (*trial.Proposal, *trial.Ending) {
	keep := s.base()
	if keep.DataRate == 0 || keep.CL == 0 {
		return nil, s.keep(keep, "The memory profile is not in use, so there is nothing to refine.")
	}
	mine := s.mine()
	done := map[string]bool{}
	steps := map[string]int{}
	for _, t := range mine {
		name := moveOf(keep, t.Settings)
		if t.Outcome == trial.Clean {
			keep = t.Settings
			steps[name]++
		} else {
			done[name] = true
		}
	}
	if t := last(mine); t != nil && s.wentDownAtOnce(*t) && t.Outcome == trial.NoBoot {
		for _, m := range moves { // a PC that does not start: one change of each kind is enough
			if steps[m.name] > 0 {
				done[m.name] = true
			}
		}
	}
	for _, m := range moves {
		if done[m.name] || steps[m.name] >= 2 || len(mine) >= 8 {
			continue
		}
		next := m.make(keep)
		if next.CL < 8 || next.TRCD < 8 || next.TRP < 8 || !s.safe(next, trial.Memory) {
			continue
		}
		return &trial.Proposal{
			Settings: next, Load: trial.Memory, Minutes: memoryMinutes,
			Because: fmt.Sprintf("One step of %s, and nothing else. So a failure has one cause.", m.name),
			IfClean: "This step stays, and the next follows.", IfFailed: "Back to the last memory setting that held.",
		}, nil
	}
	return nil, s.keep(keep, "No further memory step held, or the next would gain too little.")
}

// moveOf names the move that leads from one setting to the other.
func moveOf(from, to trial.Settings) string {
	switch {
	case to.DataRate != from.DataRate:
		return "data rate"
	case to.CL != from.CL:
		return "CL"
	case to.TRCD != from.TRCD:
		return "tRCD"
	}
	return "tRP"
}
