package session

import (
	"fmt"
	"slices"
	"strings"

	"belay/internal/event"
	"belay/internal/flow"
	"belay/internal/trial"
	"belay/internal/units"
)

// tell adds an entry to the conversation.
func (s *State) tell(from, title string, lines []string) {
	if lines == nil {
		lines = []string{}
	}
	stage := ""
	if here := s.Here(); here != nil {
		stage = here.Stage
	}
	s.history = append(s.history, Entry{
		Version: s.Version, Time: s.Updated, From: from, Title: title, Lines: lines, Stage: stage,
	})
}

// tellState adds the heading of the state that was just reached. Its texts
// are those of the prompt; the conversation keeps only what was new in it.
func (s *State) tellState() {
	here := s.Here()
	fill := s.words()
	s.tell("guide", fill(here.Title), nil)
}

func actionLabel(here *flow.State, name string) string {
	for _, a := range here.Actions {
		if a.Name == name {
			return a.Label
		}
	}
	return "Stop here for now"
}

// answerLines prints the values of an answer in the order of the prompt.
func (s *State) answerLines(here *flow.State, a event.Answered) []string {
	var lines []string
	for _, use := range here.Fields {
		v, ok := a.Values[use.Name]
		if !ok {
			continue
		}
		field := s.graph.Fields[use.Name]
		line := field.Label + ": " + s.valueText(field, v)
		if slices.ContainsFunc(a.Confirmed, func(name string) bool { return fieldOf(name) == use.Name }) {
			line += ", confirmed"
		}
		lines = append(lines, line)
	}
	return lines
}

func (s *State) valueText(field *flow.Field, v any) string {
	switch v := v.(type) {
	case float64:
		return units.Format(field.Unit, v)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case string:
		for _, c := range field.Choices {
			if c.Value == v {
				return c.Label
			}
		}
		return v
	case []trial.Row:
		var rows []string
		for _, row := range v {
			var cells []string
			for _, name := range field.Columns {
				if x, ok := row[name]; ok {
					cells = append(cells, units.Format(s.graph.Fields[name].Unit, x))
				}
			}
			rows = append(rows, strings.Join(cells, ", "))
		}
		return strings.Join(rows, "; ")
	}
	return fmt.Sprint(v)
}

// outcomeWords say how a trial ended, for the conversation.
var outcomeWords = map[trial.Outcome]string{
	trial.Clean: "ran clean", trial.Error: "found an error", trial.Froze: "the PC froze", trial.Reset: "the PC restarted by itself",
	trial.NoBoot: "the PC did not start", trial.TooHot: "too hot", trial.Throttled: "the processor slowed itself down",
	trial.Stopped: "stopped, says nothing about the setting",
}

func trialLines(t trial.Trial) []string {
	head := fmt.Sprintf("%s load, %s: %s", t.Load, settingsText(t.Settings), outcomeWords[t.Outcome])
	switch {
	case t.Outcome == trial.NoBoot:
	case t.Outcome.Failed() && t.TimeUnknown:
		head += " within " + t.PlannedMinutes.String()
	case t.Outcome.Failed():
		head += " after " + t.Minutes.String()
	case t.Minutes > 0:
		head += ", " + t.Minutes.String()
	}
	return []string{head}
}

// settingsText names the settings that a trial is about, briefly.
func settingsText(s trial.Settings) string {
	var parts []string
	if s.Ratio > 0 {
		parts = append(parts, fmt.Sprintf("ratio %v", s.Ratio))
	}
	if s.SetVoltage > 0 {
		parts = append(parts, s.SetVoltage.String()+" set")
	}
	if s.DataRate > 0 {
		parts = append(parts, units.Format("MT/s", float64(s.DataRate)))
	}
	if s.CacheRatio > 0 {
		parts = append(parts, fmt.Sprintf("cache %v", s.CacheRatio))
	}
	if s.WideVectorOffset > 0 {
		parts = append(parts, fmt.Sprintf("wide-vector offset %d", s.WideVectorOffset))
	}
	if len(parts) == 0 {
		return "as delivered"
	}
	return strings.Join(parts, ", ")
}

// list writes names as "a, b and c".
func list(names []string) string {
	switch len(names) {
	case 0:
		return "none"
	case 1:
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
