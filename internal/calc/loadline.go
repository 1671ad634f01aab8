package calc

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"belay/internal/fault"
	"belay/internal/loadline"
	"belay/internal/strictjson"
	"belay/internal/units"
)

// LoadLine asks for the load line from readings of set voltage, load voltage
// and package power, and for the voltage to set for a wanted one.
type LoadLine struct {
	Reading []Reading `json:"reading" required:"" sep:"none" placeholder:"SET:LOAD:POWER" help:"Set voltage, load voltage and package power of one steady load. Give one for each load."`
	Want    *float64  `json:"want" placeholder:"V" help:"Load voltage that you want."`
	Power   *float64  `json:"power" placeholder:"W" help:"Package power at the wanted load voltage."`
}

// Reading is one look at the PC under a steady load, with a static voltage.
type Reading struct {
	Set   float64 `json:"set_voltage_v"`
	Load  float64 `json:"load_voltage_v"`
	Power float64 `json:"package_power_w"`
}

// UnmarshalText reads SET:LOAD:POWER. Units may stand behind the numbers.
func (r *Reading) UnmarshalText(text []byte) error {
	return colons(text, "SET:LOAD:POWER, as in 1.250:1.172:150",
		part{"V", &r.Set}, part{"V", &r.Load}, part{"W", &r.Power})
}

// UnmarshalJSON reads an object with the three keys, or a text as on the
// command line.
func (r *Reading) UnmarshalJSON(body []byte) error {
	if body[0] == '"' {
		var text string
		if err := json.Unmarshal(body, &text); err != nil {
			return err
		}
		return r.UnmarshalText([]byte(text))
	}
	type plain Reading
	return strictjson.Decode(body, (*plain)(r))
}

// part is one number of a text with colons.
type part struct {
	unit string
	into *float64
}

func colons(text []byte, form string, parts ...part) error {
	given := strings.Split(string(text), ":")
	if len(given) != len(parts) {
		return fault.Newf(fault.Invalid, "Write it as "+form+".", "%q is not %s.", text, form)
	}
	for i, p := range parts {
		v, err := units.Parse(p.unit, given[i])
		if err != nil {
			return fault.Newf(fault.Invalid, "Write it as "+form+".", "%q is not %s.", text, form).Because(err)
		}
		*p.into = v
	}
	return nil
}

// LoadLineResult is the load line with its interval. The set voltage is there
// when one was asked for.
type LoadLineResult struct {
	ResistanceMOhm   float64     `json:"resistance_mohm"`
	Resistance95MOhm [2]float64  `json:"resistance_95_mohm"`
	OffsetV          float64     `json:"offset_v"`
	SetV             *float64    `json:"set_v,omitempty"`
	Set95V           *[2]float64 `json:"set_95_v,omitempty"`
	Warnings         []string    `json:"warnings"`

	in LoadLine
}

// Ranges of the readings of a desktop part; those of the model.
const (
	leastVolt, mostVolt = 0.3, 2
	leastWatt, mostWatt = 1, 1500
	mostReadings        = 200 // chosen: more than a day of readings by hand
	sure                = 0.95
)

// Calculate returns a LoadLineResult.
func (l LoadLine) Calculate() (Result, error) {
	var c checks
	if len(l.Reading) == 0 || len(l.Reading) > mostReadings {
		c.refuse("reading", "There are %d readings. Give 1 to %d.", len(l.Reading), mostReadings)
	}
	readings := make([]loadline.Reading, 0, len(l.Reading))
	for i, r := range l.Reading {
		at := fmt.Sprintf("reading.%d.", i)
		c.within(at+"set_voltage_v", "V", r.Set, leastVolt, mostVolt)
		c.within(at+"load_voltage_v", "V", r.Load, leastVolt, mostVolt)
		c.within(at+"package_power_w", "W", r.Power, leastWatt, mostWatt)
		readings = append(readings, loadline.Reading{Set: units.Volt(r.Set), Load: units.Volt(r.Load), Power: units.Watt(r.Power)})
	}
	c.wanted(l)
	if err := c.fault(); err != nil {
		return nil, err
	}
	line, err := loadline.Fit(loadline.DefaultPrior(), readings)
	if err != nil {
		return nil, err
	}
	sum, err := line.Summary(sure)
	if err != nil {
		return nil, err
	}
	r := LoadLineResult{
		ResistanceMOhm: sum.Resistance.Mid, Resistance95MOhm: [2]float64{sum.Resistance.Low, sum.Resistance.High},
		OffsetV: sum.Offset.Mid, Warnings: orNone(sum.Warnings), in: l,
	}
	if l.Want == nil {
		return r, nil
	}
	set, err := line.SetFor(units.Volt(*l.Want), units.Watt(*l.Power), sure)
	if err != nil {
		return nil, err
	}
	r.SetV, r.Set95V = &set.Mid, &[2]float64{set.Low, set.High}
	if most := l.mostPower(); *l.Power > 1.25*most {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%.0f W lies far above the readings, so the line is stretched.", *l.Power))
	}
	return r, nil
}

// wanted checks the wish for a load voltage: both numbers or none.
func (c *checks) wanted(l LoadLine) {
	switch {
	case l.Want != nil && l.Power == nil:
		c.refuse("power", "Give the package power at the wanted load voltage.")
	case l.Want == nil && l.Power != nil:
		c.refuse("want", "Give the load voltage that you want at this power.")
	case l.Want != nil:
		c.within("want", "V", *l.Want, leastVolt, mostVolt)
		c.within("power", "W", *l.Power, leastWatt, mostWatt)
	}
}

func (l LoadLine) mostPower() float64 {
	most := 0.0
	for _, r := range l.Reading {
		most = math.Max(most, r.Power)
	}
	return most
}

// Sentences tells the line.
func (r LoadLineResult) Sentences() []string {
	out := []string{
		fmt.Sprintf("The load line is %.3f mΩ (%.3f to %.3f mΩ with 95 %% confidence).",
			r.ResistanceMOhm, r.Resistance95MOhm[0], r.Resistance95MOhm[1]),
		fmt.Sprintf("The meter's offset is %+.1f mV.", r.OffsetV*1000),
	}
	if r.SetV != nil {
		out = append(out, fmt.Sprintf("For %.3f V at %s W, set %.3f V (%.3f to %.3f V with 95 %% confidence).",
			*r.in.Want, amount("", *r.in.Power), *r.SetV, r.Set95V[0], r.Set95V[1]))
	}
	return append(out, r.Warnings...)
}
