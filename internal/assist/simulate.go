package assist

import (
	"context"
	"encoding/json"
	"math"
	"strconv"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
)

// Simulate lets the simulated PC of a practice session answer the present
// prompt. The intent of a trial is committed before the trial runs.
func (a *Assist) Simulate(ctx context.Context, id, prompt, key string) (Result, error) {
	if err := a.begin(ctx, id, prompt, key); err != nil {
		return Result{}, err
	}
	return a.answer(ctx, id, key, func(s loaded) (session.Answer, error) {
		if err := simulable(s, prompt); err != nil {
			return session.Answer{}, err
		}
		rig, err := a.Rig(s.Practice.Seed, s.Practice.Variant)
		if err != nil {
			return session.Answer{}, err
		}
		values := simulated(s, rig)
		return session.Answer{Prompt: prompt, Action: s.Here().Actions[0].Name, Values: values, Key: key, By: "practice"}, nil
	})
}

// begin commits the intent of the trial that is about to run, unless the
// command was carried out before.
func (a *Assist) begin(ctx context.Context, id, prompt, key string) error {
	return a.change(ctx, id, func(s loaded) ([]event.Payload, error) {
		if _, done := s.KeyVersion(key); done {
			return nil, nil
		}
		if err := simulable(s, prompt); err != nil {
			return nil, err
		}
		if !s.Here().Trial {
			return nil, nil
		}
		return s.Intent(a.BootID)
	})
}

func simulable(s loaded, prompt string) error {
	switch {
	case s.Practice == nil:
		return fault.New(fault.Conflict, "This session is about a real PC, so nothing can be simulated.", "Type what you read on it.")
	case prompt != s.PromptID():
		return fault.New(fault.Conflict, "This step was already answered.", "Look at the present step and answer that.")
	case !s.Simulates():
		return fault.New(fault.Conflict, "The simulated PC cannot answer this step.", "Answer it yourself.")
	}
	return nil
}

// simulated are the values that the rig gives for the present prompt.
func simulated(s loaded, rig PracticeRig) trial.Values {
	here := s.Here()
	known := machineValues(rig)
	if p := s.Proposal; p != nil && here.Confirms {
		for name, v := range p.Settings.Values() {
			known[name] = v
		}
		known["load_line"] = loadLineFor(s, rig)
	}
	if here.Trial && s.Proposal != nil {
		n := len(s.State.Trials) + 1
		t := rig.Run(n, s.Settings, s.Proposal.Load, s.Proposal.Minutes)
		addTrial(known, t)
		known["readings"] = lineReadings(rig, n, s.Settings)
	}
	values := trial.Values{}
	for _, use := range here.Fields {
		v, ok := known[use.Name]
		if !ok {
			continue
		}
		if use.NeededIf != nil && !use.Needed(&here.Actions[0], known) {
			continue
		}
		values[use.Name] = fit(s, use.Name, v)
	}
	return values
}

// machineValues are what a person could read off the simulated PC.
func machineValues(rig PracticeRig) trial.Values {
	known := plain(rig.Machine())
	known["air_temp_c"] = math.Round(float64(rig.AirTemp())*2) / 2
	return known
}

// plain returns the fields of v under their API names.
func plain(v any) trial.Values {
	body, err := json.Marshal(v)
	if err != nil {
		panic("plain data: " + err.Error())
	}
	out := trial.Values{}
	if err := json.Unmarshal(body, &out); err != nil {
		panic("plain data: " + err.Error())
	}
	return out
}

// addTrial adds the outcome and readings of a trial to what is known.
func addTrial(known trial.Values, t trial.Trial) {
	read := t.Readings
	read.Scores = nil // a list of plain numbers; told as rows below
	for name, v := range plain(read) {
		known[name] = v
	}
	known["outcome"] = string(t.Outcome)
	var rows []trial.Row
	for _, x := range t.Readings.Scores {
		rows = append(rows, trial.Row{"score": math.Round(x*10) / 10})
	}
	if rows != nil {
		known["scores"] = rows
	}
	switch {
	case t.Outcome.Failed() && !t.TimeUnknown:
		known["minutes_to_failure"] = math.Round(float64(t.Minutes)*10) / 10
	case t.Outcome == trial.Stopped || t.Outcome.Hot():
		known["minutes"] = math.Round(float64(t.Minutes)*10) / 10
	}
}

// lineReadings reads set and load voltage under a light, a heavy and the
// heaviest load.
func lineReadings(rig PracticeRig, n int, s trial.Settings) []trial.Row {
	var rows []trial.Row
	for _, load := range []trial.Load{trial.Bursty, trial.Scalar, trial.WideVector} {
		r := rig.Run(n, s, load, 3).Readings
		if r.LoadVoltage > 0 && r.PackagePower > 0 {
			rows = append(rows, trial.Row{
				"set_voltage_v":   float64(s.SetVoltage),
				"load_voltage_v":  roundTo(float64(r.LoadVoltage), 0.001),
				"package_power_w": math.Round(float64(r.PackagePower)),
			})
		}
	}
	return rows
}

// loadLineFor chooses the level to set on the simulated PC: the middle one
// first, then the next flatter one after too much droop, the next steeper one
// after an overshoot. The rig lists its levels from steep to flat.
func loadLineFor(s loaded, rig PracticeRig) string {
	levels := rig.LoadLines()
	at := len(levels) / 2
	for i, name := range levels {
		if name == s.Settings.LoadLine {
			at = i
			if s.Here().Stage == "voltage-mode" && s.State.Levels > 0 {
				if s.Overshoots() {
					at = max(i-1, 0)
				} else {
					at = min(i+1, len(levels)-1)
				}
			}
		}
	}
	return levels[at]
}

// fit brings a simulated value into the form that a person would type.
func fit(s loaded, name string, v any) any {
	field := s.Graph().Fields[name]
	x, ok := v.(float64)
	if !ok || field == nil || field.Kind != "number" {
		if n, number := v.(float64); number && field != nil && field.Kind == "choice" {
			return strconv.FormatFloat(n, 'f', -1, 64)
		}
		return v
	}
	if field.Step > 0 {
		x = roundTo(x, field.Step)
	}
	return min(max(x, field.Min), field.Max)
}

func roundTo(x, step float64) float64 {
	return math.Round(math.Round(x/step)*step*1e6) / 1e6
}
