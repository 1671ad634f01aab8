package flow

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
)

const nbsp = "\u00a0"

// row is a short way to write a reading.
func row(volts, watts float64) trial.Row {
	return trial.Row{"load_voltage_v": volts, "package_power_w": watts}
}

func TestCheckValues(t *testing.T) {
	g := goodGraph(t)
	sound := func(more trial.Values) trial.Values {
		v := trial.Values{"ratio": 50.0, "set_voltage_v": 1.25}
		for name, x := range more {
			v[name] = x
		}
		return v
	}
	for _, c := range []struct {
		name, state, action string
		in                  trial.Values
		out                 trial.Values // what must be kept, nil: not looked at
		field, message      string       // "": nothing is wrong
	}{
		{"sound", "core.enter", "entered", sound(nil), sound(nil), "", ""},
		{"ends of the range", "core.enter", "entered", trial.Values{"ratio": 8.0, "set_voltage_v": 1.6}, nil, "", ""},
		{"trimmed", "core.enter", "entered", sound(trial.Values{"notes": "  cold room "}), sound(trial.Values{"notes": "cold room"}), "", ""},
		{"blank text is open", "core.enter", "entered", sound(trial.Values{"notes": "   "}), sound(nil), "", ""},
		{"unknown name", "core.enter", "entered", sound(trial.Values{"colour": "blue"}), sound(nil), "colour", `This step does not ask for "colour".`},
		{"missing", "core.enter", "entered", trial.Values{"ratio": 50.0}, nil, "set_voltage_v",
			"Core voltage, as set is missing. Enter a value from 0.6" + nbsp + "V to 1.6" + nbsp + "V, such as 1.255."},
		{"text for a number", "core.enter", "entered", sound(trial.Values{"ratio": "50"}), nil, "ratio", "Core ratio must be a number, such as 50."},
		{"above", "core.enter", "entered", sound(trial.Values{"ratio": 81.0}), nil, "ratio", "Core ratio: 81× is above the range. Enter a value from 8× to 80×, such as 50."},
		{"just below", "core.enter", "entered", sound(trial.Values{"set_voltage_v": 0.5999}), nil, "set_voltage_v",
			"Core voltage, as set: 0.5999" + nbsp + "V is below the range. Enter a value from 0.6" + nbsp + "V to 1.6" + nbsp + "V, such as 1.255."},
		{"millivolts", "core.enter", "entered", sound(trial.Values{"set_voltage_v": 1255.0}), trial.Values{"ratio": 50.0}, "set_voltage_v",
			"Core voltage, as set: 1255" + nbsp + "V is above the range. If you mean 1255" + nbsp + "mV, type 1.255. Enter a value from 0.6" + nbsp + "V to 1.6" + nbsp + "V, such as 1.255."},
		{"clock for a ratio", "core.enter", "entered", sound(trial.Values{"ratio": 4900.0}), nil, "ratio",
			"Core ratio: 4900× is above the range. If you mean 4900" + nbsp + "MHz at a base clock of 100" + nbsp + "MHz, type 49. Enter a value from 8× to 80×, such as 50."},
		{"half a ratio", "core.enter", "entered", sound(trial.Values{"ratio": 50.5}), nil, "ratio", "Core ratio must be a whole number from 8× to 80×, such as 50."},
		{"NaN", "core.enter", "entered", sound(trial.Values{"ratio": math.NaN()}), nil, "ratio", "Core ratio is not a number. Enter a value from 8× to 80×, such as 50."},
		{"infinite", "core.enter", "entered", sound(trial.Values{"ratio": math.Inf(1)}), nil, "ratio", "Core ratio is not a number. Enter a value from 8× to 80×, such as 50."},
		{"long text", "core.enter", "entered", sound(trial.Values{"notes": strings.Repeat("é", 41)}), nil, "notes", "Notes has 41 characters. Keep it to at most 40."},
		{"longest text", "core.enter", "entered", sound(trial.Values{"notes": strings.Repeat("é", 40)}), nil, "", ""},
		{"control character", "core.enter", "entered", sound(trial.Values{"notes": "a\x1bb"}), nil, "notes", "Notes holds an invisible character (U+001B). Type the text again on one line."},
		{"direction mark", "core.enter", "entered", sound(trial.Values{"notes": "a\u202eb"}), nil, "notes", "Notes holds an invisible character (U+202E). Type the text again on one line."},
		{"not UTF-8", "core.enter", "entered", sound(trial.Values{"notes": "a\xff"}), nil, "notes", "Notes must be a text."},
		{"choice", "core.run", "report", trial.Values{"outcome": "clean"}, nil, "", ""},
		{"wrong choice", "core.run", "report", trial.Values{"outcome": "fine"}, trial.Values{}, "outcome", "How it ended has no such answer. Choose one of: It ran its whole time; It found a wrong result; " +
			"The PC stopped answering; The PC restarted by itself; The PC did not start; It became too hot; The processor slowed down; You stopped it."},
		{"needed_if holds", "core.run", "report", trial.Values{"outcome": "froze"}, nil, "minutes_to_failure",
			"Minutes until it failed is missing. Enter a value from 0" + nbsp + "min to 600" + nbsp + "min, such as 7.5."},
		{"needed_if is met", "core.run", "report", trial.Values{"outcome": "froze", "minutes_to_failure": 0.0}, nil, "", ""},
		{"needed_if of an action that needs nothing", "core.run", "back", trial.Values{"outcome": "froze"}, nil, "", ""},
		{"missing choice", "core.run", "report", trial.Values{}, nil, "outcome", "How it ended is missing. Choose one answer."},
		{"readings", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180), row(1.21, 150)}},
			trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180), row(1.21, 150)}}, "", ""},
		{"no rows are open", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{}}, trial.Values{"outcome": "clean"}, "", ""},
		{"too few rows", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180)}}, nil, "readings", "Readings under load: 1 are given. Enter 2 to 3 readings."},
		{"too many rows", "core.run", "report", trial.Values{"outcome": "clean", "readings": make([]trial.Row, 4)}, nil, "readings", "Readings under load: 4 are given. Enter 2 to 3 readings."},
		{"missing cell", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180), {"load_voltage_v": 1.2}}}, nil, "readings.1.package_power_w",
			"Package power is missing in reading 2. Enter a value from 5" + nbsp + "W to 600" + nbsp + "W, such as 180."},
		{"cell out of range", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180), row(1210, 180)}}, nil, "readings.1.load_voltage_v",
			"Load voltage: 1210" + nbsp + "V is above the range. If you mean 1210" + nbsp + "mV, type 1.21. Enter a value from 0.5" + nbsp + "V to 1.6" + nbsp + "V, such as 1.21."},
		{"unknown column", "core.run", "report", trial.Values{"outcome": "clean", "readings": []trial.Row{row(1.2, 180), {"load_voltage_v": 1.2, "package_power_w": 9, "x": 1}}}, nil, "readings.1.x",
			`These readings have no column "x".`},
		{"rows of another kind", "core.run", "report", trial.Values{"outcome": "clean", "readings": 4.0}, nil, "readings", "Readings under load must be a list of readings."},
		{"yes", "core.hot", "decide", trial.Values{"again": false}, trial.Values{"again": false}, "", ""},
		{"yes in words", "core.hot", "decide", trial.Values{"again": "yes"}, nil, "again", "Try again must be answered with yes or no."},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := g.State(c.state)
			out, wrong := g.CheckValues(s, s.Action(c.action), c.in)
			for i := range wrong { // the text and the number offer the same
				require.Equal(t, strings.Contains(wrong[i].Message, "If you mean"), wrong[i].Suggest != nil)
				if x, ok := wrong[i].Suggest.(float64); ok {
					require.Contains(t, wrong[i].Message, ", type "+strconv.FormatFloat(x, 'f', -1, 64)+". ")
				}
				wrong[i].Suggest = nil
			}
			if c.message == "" {
				require.Empty(t, wrong)
			} else {
				require.Equal(t, []fault.Field{{Field: c.field, Message: c.message}}, wrong)
			}
			if c.out != nil {
				require.Equal(t, c.out, out)
			}
		})
	}
}

func TestCheckValuesKeepsNoNegativeZero(t *testing.T) {
	g := goodGraph(t)
	s := g.State("core.run")
	out, wrong := g.CheckValues(s, s.Action("report"), trial.Values{"outcome": "froze", "minutes_to_failure": math.Copysign(0, -1)})
	require.Empty(t, wrong)
	require.False(t, math.Signbit(out["minutes_to_failure"].(float64)))
}

// TestSlips: 172 degrees Fahrenheit are 77.8 degrees Celsius by the
// definition of the scale; the rest are powers of ten.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		unit         string
		min, max, in float64
		want         string
	}{
		{"V", 0.6, 1.6, 1255, " If you mean 1255" + nbsp + "mV, type 1.255."},
		{"mV", 10, 200, 0.05, " If you mean 0.05" + nbsp + "V, type 50."},
		{"MHz", 800, 8000, 4.9, " If you mean 4.9" + nbsp + "GHz, type 4900."},
		{"°C", 10, 120, 172, " If you mean 172" + nbsp + "°F, type 77.8."},
		{"×", 8, 80, 4.9, " If you mean 4.9" + nbsp + "GHz at a base clock of 100" + nbsp + "MHz, type 49."},
		{"MT/s", 2133, 9000, 1800, " If you mean 1800" + nbsp + "MHz, the memory clock, type 3600."},
		{"min", 0, 60, 240, " If you mean 240" + nbsp + "s, type 4."},
		{"V", 0.6, 1.6, 5, ""},
		{"points", 1, 10, 5000, ""},
	} {
		f := Field{Unit: c.unit, Min: c.min, Max: c.max}
		text, meant := f.slip(c.in)
		require.Equal(t, c.want, text, "%v %s", c.in, c.unit)
		require.Equal(t, text == "", meant == nil, "%v %s", c.in, c.unit)
		if meant != nil {
			require.Contains(t, text, strconv.FormatFloat(meant.(float64), 'f', -1, 64)+".")
		}
	}
}

func TestParseValues(t *testing.T) {
	g := goodGraph(t)
	for _, c := range []struct {
		name, state    string
		form           map[string][]string
		out            trial.Values
		field, message string
	}{
		{"as typed", "core.enter", map[string][]string{"ratio": {" 50 "}, "set_voltage_v": {"1,25 V"}, "notes": {" x "}},
			trial.Values{"ratio": 50.0, "set_voltage_v": 1.25, "notes": "x"}, "", ""},
		{"another unit", "core.enter", map[string][]string{"set_voltage_v": {"1255 mV"}}, trial.Values{"set_voltage_v": 1.255}, "", ""},
		{"blank is open", "core.enter", map[string][]string{"ratio": {"  "}, "notes": {""}}, trial.Values{}, "", ""},
		{"other inputs", "core.enter", map[string][]string{"action": {"entered"}, "outcome": {"clean"}}, trial.Values{}, "", ""},
		{"not a number", "core.enter", map[string][]string{"ratio": {"fifty"}}, trial.Values{}, "ratio",
			`Core ratio: "fifty" is not a number. Type a number in ×, such as 10. The range is 8× to 80×.`},
		{"two readings of it", "core.enter", map[string][]string{"set_voltage_v": {"1,250"}}, trial.Values{}, "set_voltage_v",
			`Core voltage, as set: "1,250" can be read in two ways. Write it with a point and no grouping: 1.25 or 1250. The range is 0.6` + nbsp + "V to 1.6" + nbsp + "V."},
		{"endless", "core.enter", map[string][]string{"ratio": {strings.Repeat("5", 65)}}, trial.Values{}, "ratio",
			"Core ratio is too long for a number. Enter a value from 8× to 80×, such as 50."},
		{"twice", "core.enter", map[string][]string{"ratio": {"50", "51"}}, trial.Values{}, "ratio", "This was answered 2 times. Answer it once."},
		{"yes", "core.hot", map[string][]string{"again": {"yes"}}, trial.Values{"again": true}, "", ""},
		{"no", "core.hot", map[string][]string{"again": {"no"}}, trial.Values{"again": false}, "", ""},
		{"neither", "core.hot", map[string][]string{"again": {"on"}}, trial.Values{}, "again", "Try again must be answered with yes or no."},
		{"choice", "core.run", map[string][]string{"outcome": {"froze"}}, trial.Values{"outcome": "froze"}, "", ""},
		{"readings in order, blank rows dropped", "core.run", map[string][]string{
			"readings.10.load_voltage_v": {"1.1"}, "readings.10.package_power_w": {"90"},
			"readings.2.load_voltage_v": {"1.2"}, "readings.2.package_power_w": {"180 W"},
			"readings.3.load_voltage_v": {""}, "readings.3.package_power_w": {" "},
			"readings.02.load_voltage_v": {"9"}, "readings.-1.load_voltage_v": {"9"}, "readings.x.load_voltage_v": {"9"},
		}, trial.Values{"readings": []trial.Row{row(1.2, 180), row(1.1, 90)}}, "", ""},
		{"half a row is kept", "core.run", map[string][]string{"readings.0.load_voltage_v": {"1.1"}},
			trial.Values{"readings": []trial.Row{{"load_voltage_v": 1.1}}}, "", ""},
		{"bad cell", "core.run", map[string][]string{"readings.0.load_voltage_v": {"1.1 W"}}, trial.Values{}, "readings.0.load_voltage_v",
			`Load voltage: "w" is not a unit for this field. Type a number in V, such as 1.255. The range is 0.5` + nbsp + "V to 1.6" + nbsp + "V."},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, wrong := g.ParseValues(g.State(c.state), c.form)
			require.Equal(t, c.out, out)
			if c.message == "" {
				require.Empty(t, wrong)
			} else {
				require.Equal(t, []fault.Field{{Field: c.field, Message: c.message}}, wrong)
			}
		})
	}
}

func TestParseValuesBoundsRows(t *testing.T) {
	g := goodGraph(t)
	form := map[string][]string{}
	for i := range 41 {
		form["readings."+string(rune('0'+i/10))+string(rune('0'+i%10))] = nil
		form["readings."+strings.TrimLeft(string(rune('0'+i/10)), "0")+string(rune('0'+i%10))+".load_voltage_v"] = []string{"1.1"}
	}
	out, wrong := g.ParseValues(g.State("core.run"), form)
	require.Empty(t, out)
	require.Equal(t, []fault.Field{{Field: "readings", Message: "Readings under load: 41 rows are too many. Enter 2 to 3 readings."}}, wrong)
}

// TestCheckValuesAsksForEachKind uses fields that the small flow does not
// need, needed by a yes.
func TestCheckValuesAsksForEachKind(t *testing.T) {
	g := &Graph{Fields: map[string]*Field{
		"more":   {Name: "more", Label: "Tell more", Kind: yesno},
		"notes":  {Name: "notes", Label: "Notes", Kind: text, MaxLength: 9},
		"table":  {Name: "table", Label: "Readings", Kind: readings, Columns: []string{"score"}, Rows: [2]int{2, 2}},
		"score":  {Name: "score", Label: "Score", Kind: number, Unit: "points", Min: 1, Max: 1e16, Example: "5000"},
		"errors": {Name: "errors", Label: "Errors", Kind: number, Unit: "pieces", Min: 0, Max: 9, Step: 1, Example: "0"},
		"share":  {Name: "share", Label: "Share", Kind: number, Unit: "%", Min: 0, Max: 100, Example: "50"},
	}}
	yes := map[string][]string{"more": {"yes"}}
	s := &State{Fields: []FieldUse{{Name: "more", Required: true}, {Name: "notes", NeededIf: yes}, {Name: "table", NeededIf: yes},
		{Name: "score", NeededIf: yes}, {Name: "errors", NeededIf: yes}, {Name: "share", NeededIf: yes}}}
	a := &Action{Needs: []string{"more"}}

	_, wrong := g.CheckValues(s, a, trial.Values{"more": false})
	require.Empty(t, wrong)

	_, wrong = g.CheckValues(s, a, nil)
	require.Equal(t, []fault.Field{{Field: "more", Message: "Tell more is missing. Choose one answer."}}, wrong)

	_, wrong = g.CheckValues(s, a, trial.Values{"more": true, "share": 101.0})
	require.Equal(t, []fault.Field{
		{Field: "share", Message: "Share: 101% is above the range. Enter a value from 0% to 100%, such as 50."},
		{Field: "notes", Message: "Notes is missing. Enter a text of at most 9 characters."},
		{Field: "table", Message: "Readings are missing. Enter 2 readings."},
		{Field: "score", Message: "Score is missing. Enter a value from 1 to 1e+16, such as 5000."},
		{Field: "errors", Message: "Errors is missing. Enter a value from 0 to 9, such as 0."},
	}, wrong)
}
