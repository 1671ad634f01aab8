package session

import (
	"fmt"
	"maps"
	"slices"
	"strconv"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// read are the readings that sensors and logs give, as the fields that they
// answer.
var read = []struct {
	field, unit string
	of          func(*trial.Readings) *float64
}{
	{"load_voltage_v", "V", func(r *trial.Readings) *float64 { return (*float64)(&r.LoadVoltage) }},
	{"core_temp_c", "°C", func(r *trial.Readings) *float64 { return (*float64)(&r.CoreTemp) }},
	{"package_power_w", "W", func(r *trial.Readings) *float64 { return (*float64)(&r.PackagePower) }},
	{"clock_mhz", "MHz", func(r *trial.Readings) *float64 { return (*float64)(&r.Clock) }},
}

// Attach returns the event that gives trial p.N readings taken over time. The
// trial is one of those so far, or the one whose outcome is asked for now. It
// returns a NotFound fault for another one, and an Invalid fault for readings
// that cannot be right.
func (s *State) Attach(p event.ReadingsAttached) ([]event.Payload, error) {
	last := len(s.Trials)
	if s.Here().Trial && s.Proposal != nil {
		last++
	}
	if p.N < 1 || p.N > last {
		return nil, fault.Newf(fault.NotFound, "List the trials and use the number of one of those.", "This session has no trial %d.", p.N)
	}
	if p.Readings.Scores != nil {
		return nil, fault.New(fault.Invalid, "A log holds no scores.", "Type the scores.")
	}
	t := trial.Trial{Settings: s.Settings}
	if p.N <= len(s.Trials) {
		t = s.Trials[p.N-1]
	}
	none := true
	for _, x := range read {
		none = none && *x.of(&p.Readings) == 0
	}
	if none {
		return nil, fault.New(fault.Invalid, "No reading of a trial is left in this log.", "Choose other columns, or type the readings.")
	}
	if d := s.doubtLog(merged(t, p)); len(d.wrong) > 0 {
		f := fault.New(fault.Invalid, "These readings do not fit the trial.", "Check that the log is of this trial, and that the columns are the right ones.")
		f.Fields = d.wrong
		return nil, f
	}
	return []event.Payload{p}, nil
}

// merged returns a copy of t with the readings of p in the place of its own.
func merged(t trial.Trial, p event.ReadingsAttached) trial.Trial {
	t.Sources = maps.Clone(t.Sources)
	if t.Sources == nil {
		t.Sources = map[string]string{}
	}
	for _, x := range read {
		if v := *x.of(&p.Readings); v != 0 {
			*x.of(&t.Readings) = v
			t.Sources[x.field] = p.Source
		}
	}
	return t
}

// attached takes readings into the state: into their trial, or kept for the
// one that runs.
func (s *State) attached(p event.ReadingsAttached) {
	s.Attached = maps.Clone(s.Attached)
	if s.Attached == nil {
		s.Attached = map[int]event.ReadingsAttached{}
	}
	s.Attached[p.N] = p
	if p.Key != "" {
		s.keys[p.Key] = s.Version
	}
	s.merge(p)
	s.tell("pc", "Readings of trial "+strconv.Itoa(p.N), attachedLines(p))
}

func (s *State) merge(p event.ReadingsAttached) {
	if p.N <= len(s.Trials) {
		s.Trials = slices.Clone(s.Trials)
		s.Trials[p.N-1] = merged(s.Trials[p.N-1], p)
	}
}

// attachAgain puts readings back after an answer was taken back. Those of
// trials that are gone with it go too.
func (s *State) attachAgain() {
	kept := map[int]event.ReadingsAttached{}
	for _, n := range slices.Sorted(maps.Keys(s.Attached)) {
		if n <= len(s.Trials) {
			kept[n] = s.Attached[n]
			s.merge(kept[n])
		}
	}
	s.Attached = kept
}

// addAttached gives a reported trial the readings that were taken for it.
// What the person typed stays, and its source is named only where both agree.
func (s *State) addAttached(t *trial.Trial, values trial.Values) {
	p, ok := s.Attached[t.N]
	if !ok {
		return
	}
	for _, x := range read {
		v := *x.of(&p.Readings)
		typed, is := values.Number(x.field)
		if v == 0 || is && s.fits(x.field, v) != typed {
			continue
		}
		*x.of(&t.Readings) = v
		if t.Sources == nil {
			t.Sources = map[string]string{}
		}
		t.Sources[x.field] = p.Source
	}
}

// readFor returns what was read for a field and where: readings of the trial
// that runs, or values of the PC in a state that asks for them.
func (s *State) readFor(name string) (any, string) {
	here := s.Here()
	if p, ok := s.Attached[len(s.Trials)+1]; ok && here.Trial {
		for _, x := range read {
			if v := *x.of(&p.Readings); x.field == name && v != 0 {
				return s.fits(name, v), p.Source
			}
		}
	}
	v, ok := s.Detected.Values[name]
	if !ok || !here.Machine || s.Practice != nil {
		return nil, ""
	}
	field := s.graph.Fields[name]
	switch v := v.(type) {
	case float64:
		if field.Kind != "number" || v < field.Min || v > field.Max {
			return nil, ""
		}
		return s.fits(name, v), s.Detected.Sources[name]
	case string:
		if field.Kind == "text" && len(v) > field.MaxLength && field.MaxLength > 0 {
			return nil, ""
		}
	}
	return v, s.Detected.Sources[name]
}

// fits rounds a number to the step of its field.
func (s *State) fits(name string, v float64) float64 {
	field := s.graph.Fields[name]
	if field == nil || field.Step <= 0 {
		return v
	}
	steps := int64(v/field.Step + 0.5)
	x, err := strconv.ParseFloat(strconv.FormatFloat(float64(steps)*field.Step, 'f', 6, 64), 64)
	if err != nil {
		return v
	}
	return min(max(x, field.Min), field.Max)
}

// attachedLines tell a person what was read.
func attachedLines(p event.ReadingsAttached) []string {
	lines := []string{"From: " + p.Source}
	for _, x := range read {
		if v := *x.of(&p.Readings); v != 0 {
			lines = append(lines, readLabels[x.field]+": "+units.Format(x.unit, v))
		}
	}
	lines = append(lines, fmt.Sprintf("Under load: %s of %s", units.FormatMinutes(float64(p.LoadSeconds)/60), units.FormatMinutes(float64(p.Seconds)/60)))
	switch {
	case p.AtCap:
		lines = append(lines, "The power limit held the clock down")
	case p.Clock == "throttled":
		lines = append(lines, "The clock did not hold")
	case p.Clock == "held":
		lines = append(lines, "The clock held")
	}
	switch p.WarmUp {
	case "reached":
		lines = append(lines, "The temperature had settled")
	case "not reached":
		lines = append(lines, "The temperature had not settled yet")
	}
	return append(lines, p.Warnings...)
}

var readLabels = map[string]string{
	"load_voltage_v": "Load voltage", "core_temp_c": "Hottest core", "package_power_w": "Package power", "clock_mhz": "Clock",
}
