package session

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"

	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
)

// overlay writes the values whose names are JSON names of target's fields
// into it, and leaves the others alone.
func overlay(target any, values trial.Values) error {
	flat := make(map[string]any, len(values))
	for name, v := range values {
		if _, rows := v.([]trial.Row); !rows {
			flat[name] = v
		}
	}
	body, err := json.Marshal(flat)
	if err != nil {
		return err
	}
	return json.Unmarshal(body, target)
}

// enteredSettings is the proposal as the person read it back, within the hard
// limits.
func (s *State) enteredSettings(values trial.Values, odd *doubts) (trial.Settings, error) {
	settings := s.Settings
	if s.Proposal != nil {
		settings = s.Proposal.Settings
	}
	known := trial.Values{}
	for name, v := range values {
		if slices.Contains(trial.SettingNames(), name) {
			known[name] = v
		}
	}
	if err := overlay(&settings, known); err != nil {
		return settings, fault.Wrap("session.enteredSettings", err)
	}
	if vetoes := s.graph.Platform.Limits.For(s.Machine).Hard(settings, s.Machine.MemoryStandard); len(vetoes) > 0 {
		f := fault.New(fault.Unsafe, vetoes[0].Reason, "Enter a lower value in the firmware, then type that here.")
		for _, v := range vetoes {
			f.Fields = append(f.Fields, fault.Field{Field: v.Field, Message: v.Reason})
		}
		return settings, f
	}
	if s.Proposal != nil {
		odd.entered(s.Proposal.Settings, settings)
	}
	return settings, odd.fault()
}

// reportedTrial is the proposed trial with its outcome and readings.
func (s *State) reportedTrial(here *flow.State, values trial.Values, odd *doubts) (trial.Trial, error) {
	if s.Proposal == nil {
		return trial.Trial{}, fault.New(fault.Internal, "No trial was proposed here.", "Undo the last answer.")
	}
	t := trial.Trial{
		N: len(s.Trials) + 1, Stage: here.Stage, Load: s.Proposal.Load, Settings: s.Settings,
		PlannedMinutes: s.Proposal.Minutes, Outcome: trial.Outcome(values.Text("outcome")),
	}
	if err := overlay(&t.Readings, values); err != nil {
		return t, fault.Wrap("session.reportedTrial", err)
	}
	for _, row := range values.Rows("scores") {
		t.Readings.Scores = append(t.Readings.Scores, row["score"])
	}
	if n := len(t.Readings.Scores); n > 0 {
		sorted := slices.Sorted(slices.Values(t.Readings.Scores))
		t.Readings.Score = (sorted[(n-1)/2] + sorted[n/2]) / 2
	}
	if rows := values.Rows("readings"); len(rows) > 0 {
		heaviest := slices.MaxFunc(rows, func(a, b trial.Row) int {
			return int(math.Copysign(1, a["package_power_w"]-b["package_power_w"]))
		})
		t.Readings.LoadVoltage = units.Volt(heaviest["load_voltage_v"])
		t.Readings.PackagePower = units.Watt(heaviest["package_power_w"])
	}
	s.addAttached(&t, values)
	s.trialTime(&t, values)
	s.doubt(t, values, odd)
	return t, odd.fault()
}

// trialTime fills in how long the trial ran.
func (s *State) trialTime(t *trial.Trial, values trial.Values) {
	ran, known := values.Number("minutes")
	failed, dated := values.Number("minutes_to_failure")
	switch {
	case t.Outcome == trial.Clean:
		t.Minutes = t.PlannedMinutes
		if known {
			t.Minutes = units.Minutes(ran)
		}
	case t.Outcome == trial.NoBoot:
		t.Minutes = 0
	case t.Outcome.Failed():
		t.Minutes, t.TimeUnknown = units.Minutes(failed), !dated
	case known:
		t.Minutes = units.Minutes(ran)
	case dated:
		t.Minutes = units.Minutes(failed)
	}
}

// targets are the choices of how rarely it may fail, as mean hours of heavy
// load between failures. Chosen: a month of two hours of heavy load a day is
// 60 h; 500 h is the default of docs/models/stability.md.
var targets = map[string]float64{"relaxed": 60, "normal": 500, "strict": 2000}

// defaultTargetH is used until the person has chosen.
const defaultTargetH = 500

func (s *State) wishes() planner.Wishes {
	w := planner.Wishes{TargetH: defaultTargetH, StepsBack: 1, Mode: "adaptive"}
	if h, ok := targets[s.Values.Text("target")]; ok {
		w.TargetH = h
	}
	if n, err := strconv.Atoi(s.Values.Text("steps_back")); err == nil {
		w.StepsBack = n
	}
	w.Hours, _ = s.Values.Number("hours")
	w.Priority = s.Values.Text("priority")
	if m := s.Values.Text("daily_mode"); m != "" {
		w.Mode = m
	}
	return w
}
