package utter

import (
	"reflect"
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
)

// most is how many things a reply offers to say. Source: docs/formats/utterances.md.
const most = 5

// Text says what is asked back, in one or two sentences.
func (a Ask) Text() string {
	from, labels := "“"+a.From+"”", labelsOf(a.Fields)
	switch a.Reason {
	case TwoWays:
		return from + " can be read in two ways. Type it with a point, without grouping, and with its unit."
	case TwoFields:
		return from + " could be " + labels + ". Say which one, or type it into its field."
	case TwoValues:
		if labels == "" {
			return from + " holds more than one value. Say only the one that counts."
		}
		return from + " is more than one value for " + labels + ". Say only the one that counts."
	case OutOf:
		return from + " is outside the range" + rangesOf(a.Fields) + "."
	case NotWhole:
		return from + " has to be a whole number" + rangesOf(a.Fields) + "."
	case Inexact:
		return from + " is not one exact value. Type the value as the screen shows it."
	case Relative:
		return from + " is a change. Type the value that the screen shows now."
	case InForce:
		return from + " sounds like the voltage that you set. For the load voltage, say “load voltage” before the number."
	case ByTable:
		return from + " belongs into the table of this step. Fill its rows in there."
	}
	if len(a.Fields) == 1 && len(a.Fields[0].Choices) > 0 {
		return "“" + wording.Plain(a.Fields[0].Label) + "” is not clear from these words."
	}
	return from + " is not clear here. Say what it is, with its unit."
}

func labelsOf(fields []session.Field) string {
	var out []string
	for _, f := range fields {
		out = append(out, "“"+wording.Plain(f.Label)+"”")
	}
	if len(out) > most {
		return "one of several values"
	}
	if len(out) < 2 {
		return strings.Join(out, "")
	}
	return strings.Join(out[:len(out)-1], ", ") + " or " + out[len(out)-1]
}

func rangesOf(fields []session.Field) string {
	var out []string
	for _, f := range fields {
		if f.Min != nil && f.Max != nil {
			out = append(out, " of “"+wording.Plain(f.Label)+"”, "+exact(f.Unit, *f.Min)+" to "+exact(f.Unit, *f.Max))
		}
	}
	return strings.Join(out, "; nor of")
}

// Choices are at most five sentences that answer what is asked back first.
// Each is only offered if it is understood as it is meant.
func (r Reading) Choices(s Scene) []string {
	out := []string{}
	for _, a := range r.Asks {
		for _, add := range a.options() {
			want := trial.Values{}
			parts := []string{}
			for _, f := range r.Found {
				want[f.Field.Name] = f.Value
				parts = append(parts, sentence(f.Field, f.Value))
			}
			want[add.Field.Name] = add.Value
			text := strings.Join(append(parts, sentence(add.Field, add.Value)), ", ")
			got := Read(text, s)
			if got.Kind == Draft && len(got.Asks) == 0 && reflect.DeepEqual(got.Values, want) && len(out) < most && !slices.Contains(out, text) {
				out = append(out, text)
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return out
}

// options are the values that an ask leaves open.
func (a Ask) options() []Found {
	var out []Found
	for i, f := range a.Fields {
		switch {
		case f.Kind == "choice":
			for _, c := range f.Choices {
				out = append(out, Found{Field: f, Value: c.Value})
			}
		case a.Meant != nil && i == 0:
			out = append(out, Found{Field: f, Value: *a.Meant})
		}
		if v, ok := a.values[f.Name]; ok && (a.Reason == TwoFields || a.Reason == TwoWays) {
			out = append(out, Found{Field: f, Value: v})
		}
	}
	return out
}

// short names of fields, as a person would say them. Others go by their label.
var short = map[string]string{
	"core_temp_c": "hottest core", "load_voltage_v": "load voltage", "package_power_w": "package power", "clock_mhz": "core clock", "score": "score",
	"air_temp_c": "air temperature", "errors_found": "errors found", "minutes": "run time", "minutes_to_failure": "time to failure", "coverage_gb": "coverage",
	"set_voltage_v": "core voltage", "ratio": "core ratio", "cache_ratio": "cache ratio", "data_rate_mts": "data rate", "dram_voltage_v": "memory voltage",
	"sustained_limit_w": "sustained limit", "short_limit_w": "short limit", "wide_vector_offset": "wide vector offset", "cl": "cl", "trcd": "trcd", "trp": "trp", "tras": "tras",
	"load_line": "load line", "offset_v": "voltage offset", "low_end_mv": "low end",
}

// sentence says one value so that it is understood again.
func sentence(f session.Field, v any) string {
	called := short[f.Name]
	if called == "" {
		called = strings.ToLower(wording.Plain(f.Label))
	}
	switch v := v.(type) {
	case float64:
		unit := f.Unit
		if unit == "points" || unit == "pieces" || unit == "×" || unit == "clk" {
			return called + " " + wording.Number(v)
		}
		return called + " " + wording.Number(v) + " " + unit
	case []trial.Row:
		var rows []string
		for _, row := range v {
			for _, x := range row {
				rows = append(rows, wording.Number(x))
			}
		}
		return called + " " + strings.Join(rows, " / ")
	case string:
		switch {
		case f.Name == "outcome":
			return outcomeSaid[v]
		case f.Kind == "choice":
			if r := strings.ReplaceAll(v, "_", " "); !weak[r] {
				return r
			}
			for _, p := range choiceWords[f.Name][v] {
				if !weak[p.words[0]] || len(p.words) > 1 {
					return strings.Join(p.words, " ")
				}
			}
			return v
		}
		return called + " " + v
	case bool:
		if v {
			return "yes"
		}
		return "no"
	}
	return ""
}

// outcomeSaid are the plainest words for each outcome.
var outcomeSaid = map[string]string{
	"froze": "it froze", "reset": "it restarted by itself", "error": "it found an error", "no_boot": "it did not start", "clean": "it ran clean",
	"too_hot": "too hot", "throttled": "it slowed down", "stopped": "i stopped it",
}
