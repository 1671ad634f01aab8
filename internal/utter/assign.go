package utter

import (
	"math"
	"regexp"
	"strings"

	"belay/internal/session"
	"belay/internal/units"
)

var shapeOfVolts = regexp.MustCompile(`^[01]\.\d{2,3}$`)

// assign gives the number to the one field that it can be meant for, or asks
// back.
func (r *reader) assign(a *amount) {
	from := r.piece(a.from, a.to)
	if a.hasName {
		from = a.name + " " + from
	}
	switch {
	case a.noun != "":
		r.choose(a, []string{a.noun}, from)
		return
	case a.hasName && len(a.named) == 0:
		r.notAsked(a, from)
		return
	case a.unit == "unclear" || a.unit == "kelvin":
		r.ask(Unclear, from, nil, r.unitFields(*a)...)
		return
	case a.time && !a.hasName:
		r.time(a, from)
		return
	case a.hasName:
		r.choose(a, a.named, from)
		return
	case !r.plainAround(a):
		r.ask(Unclear, from, nil, r.candidates(a)...)
		return
	case r.isCondition(a):
		r.ask(InForce, from, nil, r.candidates(a)...)
		return
	}
	r.choose(a, r.candidates(a), from)
}

// notAsked deals with a number whose name is of something else.
func (r *reader) notAsked(a *amount, from string) {
	for _, f := range r.scene.Fields {
		if f.Kind == "readings" && len(f.Columns) > 1 {
			r.ask(ByTable, from, nil, f.Name)
			return
		}
	}
	r.aside = append(r.aside, from)
}

// parse turns the number into the unit of the field.
func (r *reader) parse(a *amount, f session.Field) (float64, bool) {
	if f.Kind != "number" {
		return 0, false
	}
	if a.time {
		switch f.Unit {
		case "min":
			return a.value, true
		case "h":
			return math.Round(a.value/60*1000) / 1000, true
		}
		return 0, false
	}
	v, err := units.Parse(f.Unit, r.tokens[a.at].raw+a.unit)
	if err != nil {
		return 0, false
	}
	if f.Unit == "°C" && a.unit == "f" {
		v = math.Round(v*10) / 10 // sensors show no more
	}
	return v, true
}

// unitFields are the fields that take the unit of the number.
func (r *reader) unitFields(a amount) []string {
	var out []string
	for _, f := range r.scene.Fields {
		if _, ok := r.parse(&a, f); ok && (a.unit != "" || a.noun == "") && a.unit != "unclear" {
			out = append(out, f.Name)
		}
	}
	return out
}

// candidates are the fields that an unnamed number may be meant for.
func (r *reader) candidates(a *amount) []string {
	if a.unit != "" {
		return r.unitFields(*a)
	}
	raw := r.tokens[a.at].raw
	var all, volts []string
	for _, f := range r.scene.Fields {
		if f.Kind != "number" || !fits(f, a.value) {
			continue
		}
		if f.Unit == "V" {
			if !strings.Contains(raw, ".") {
				continue // nobody types a voltage as 1
			}
			volts = append(volts, f.Name)
		}
		all = append(all, f.Name)
	}
	if shapeOfVolts.MatchString(raw) && len(volts) > 0 {
		return volts
	}
	return all
}

// choose takes the value for the only field of the list that it fits.
func (r *reader) choose(a *amount, list []string, from string) {
	var in, out []string
	value := map[string]float64{}
	for _, name := range list {
		f := r.fields[name]
		v, ok := r.parse(a, f)
		if !ok {
			continue
		}
		value[name] = v
		if fits(f, v) {
			in = append(in, name)
		} else {
			out = append(out, name)
		}
	}
	switch {
	case len(in) == 1:
		r.accept(a, r.fields[in[0]], value[in[0]], from)
	case len(in) > 1:
		r.askFor(TwoFields, from, value, in...)
	case len(out) == 1 && value[out[0]] >= *r.fields[out[0]].Min && value[out[0]] <= *r.fields[out[0]].Max:
		r.ask(NotWhole, from, nil, out...)
	case len(out) > 0:
		r.ask(OutOf, from, r.meant(value, out), out...)
	default:
		r.askSlip(a, list, from)
	}
}

// askSlip asks back about a number that fits nothing as it stands, with the
// one field that it would fit after a usual slip of the unit.
func (r *reader) askSlip(a *amount, list []string, from string) {
	var field string
	var meant *float64
	for _, f := range r.scene.Fields {
		if f.Kind != "number" || a.time || f.Unit == "min" || f.Unit == "h" || f.Unit == "GB" {
			continue
		}
		s, ok := units.SlipOf(f.Unit, r.tokens[a.at].value, *f.Min, *f.Max)
		if !ok || !fits(f, s.Value) || a.unit != "" && !strings.EqualFold(a.unit, s.Unit) || f.Unit == "MT/s" && !r.isHalfRate(a.value) {
			continue
		}
		if meant != nil {
			r.ask(Unclear, from, nil, list...)
			return
		}
		field, meant = f.Name, &s.Value
	}
	if meant == nil {
		r.ask(Unclear, from, nil, list...)
		return
	}
	r.ask(OutOf, from, meant, field)
}

// meant is what a slip of the unit would explain, where one field explains it.
func (r *reader) meant(value map[string]float64, list []string) *float64 {
	if len(list) != 1 {
		return nil
	}
	f := r.fields[list[0]]
	s, ok := units.SlipOf(f.Unit, value[f.Name], *f.Min, *f.Max)
	if !ok || !fits(f, s.Value) {
		return nil
	}
	return &s.Value
}
