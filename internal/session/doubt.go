package session

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"belay/internal/fault"
	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
)

// doubts gathers what cannot be right in an answer, and what is odd but
// possible, which the person may insist on.
type doubts struct {
	insists func(field string) bool
	wrong   []fault.Field
}

// insists reports whether an odd value of the field is to be taken. What the
// simulated PC reads is as it is.
func (a Answer) insists(field string) bool {
	return a.By == "practice" || slices.Contains(a.Confirm, field) || slices.Contains(a.Confirm, fieldOf(field))
}

// fieldOf is the field that a name belongs to: "scores.1.score" to scores.
func fieldOf(name string) string {
	owner, _, _ := strings.Cut(name, ".")
	return owner
}

// impossible refuses a value. suggest is what was probably meant, or nil.
func (d *doubts) impossible(field string, suggest any, format string, args ...any) {
	d.wrong = append(d.wrong, fault.Field{Field: field, Message: fmt.Sprintf(format, args...), Suggest: suggest})
}

// odd asks back for a value, unless the person insists on it.
func (d *doubts) odd(field string, suggest any, format string, args ...any) {
	if !d.insists(field) {
		d.wrong = append(d.wrong, fault.Field{Field: field, Message: fmt.Sprintf(format, args...), Suggest: suggest, Confirm: true})
	}
}

func (d *doubts) fault() error {
	if len(d.wrong) == 0 {
		return nil
	}
	return badAnswer(d.wrong)
}

// How far an entered value may lie above the proposal before it is asked
// back. Chosen: the largest steps that Belay itself proposes.
const (
	voltsAbove units.Volt  = 0.025
	ratioAbove units.Ratio = 1
)

// entered doubts settings above the proposed ones.
func (d *doubts) entered(proposed, entered trial.Settings) {
	if p := proposed.Ratio; p > 0 && entered.Ratio > p+ratioAbove {
		d.odd("ratio", float64(p), "Ratio %v is proposed, and you typed %v. Set %v in the firmware, or confirm yours.", p, entered.Ratio, p)
	}
	if p := proposed.SetVoltage; p > 0 && entered.SetVoltage > p+voltsAbove+1e-9 {
		d.odd("set_voltage_v", float64(p), "%v is proposed, and you typed %v. Set %v in the firmware, or confirm yours.", p, entered.SetVoltage, p)
	}
	if p := proposed.DRAMVoltage; p > 0 && entered.DRAMVoltage > p+voltsAbove+1e-9 {
		d.odd("dram_voltage_v", float64(p), "%v is proposed, and you typed %v. Set %v in the firmware, or confirm yours.", p, entered.DRAMVoltage, p)
	}
}

// Bounds of what readings may do. Chosen, each far beyond what the models'
// noise explains.
const (
	deepDroop   units.Volt = 0.25 // set less load voltage
	rowOver     units.Volt = 0.10 // load above set voltage while the load line is measured
	clockShort             = 0.98 // of the set clock: below it, something held the cores back
	hotSlack               = 5    // °C above the limit, at which a processor has slowed down
	scoreFactor            = 2    // from the newest score under the same load
	powerFactor            = 2.5  // from the expected power
)

// doubt looks for readings that contradict each other, the settings or what
// was read before.
func (s *State) doubt(t trial.Trial, values trial.Values, d *doubts) {
	d.time(t, values)
	d.voltage(t, values)
	d.clock(t, s.Machine)
	d.heat(t, s.graph.Platform.Limits.For(s.Machine).TempLimit+s.graph.Platform.Limits.TempMargin)
	if s.Proposal != nil {
		d.power(t, s.Proposal.Expect)
	}
	d.scores(t, s.newestScore(t.Load), values)
	if t.Outcome == trial.Clean && t.Readings.ErrorsFound > 0 {
		d.impossible("outcome", string(trial.Error), "You report errors, so the outcome is an error, not clean.")
	}
}

// doubtLog looks for readings of a log that belong to another trial: nobody
// can insist on those. What else is odd is left to the person's own report.
func (s *State) doubtLog(t trial.Trial) doubts {
	d := doubts{insists: func(field string) bool { return field != "load_voltage_v" && field != "clock_mhz" }}
	d.voltage(t, nil)
	d.clock(t, s.Machine)
	d.heat(t, 0)
	for i := range d.wrong {
		d.wrong[i].Confirm = false
	}
	return d
}

// time doubts a failure long after the planned end.
func (d *doubts) time(t trial.Trial, values trial.Values) {
	failed, ok := values.Number("minutes_to_failure")
	plan := float64(t.PlannedMinutes)
	if !ok || !t.Outcome.Failed() || plan <= 0 || failed <= plan*1.5+1 {
		return
	}
	var meant any
	if seconds := math.Round(failed/60*100) / 100; seconds <= plan {
		meant = seconds
	}
	d.odd("minutes_to_failure", meant, "This trial was planned for %v. Type the minutes from its start to the failure.", t.PlannedMinutes)
}

// voltage doubts a load voltage above the set one, or far below it. The meter
// explains MeterSlack.
func (d *doubts) voltage(t trial.Trial, values trial.Values) {
	set, load := t.Settings.SetVoltage, t.Readings.LoadVoltage
	for i, row := range values.Rows("readings") {
		set, load := units.Volt(row["set_voltage_v"]), units.Volt(row["load_voltage_v"])
		if set > 0 && load > set+rowOver {
			d.odd(fmt.Sprintf("readings.%d.load_voltage_v", i), nil, "Reading %d: %v under load lies far above the set %v. Read both again.", i+1, load, set)
		}
	}
	if t.Settings.VoltageMode != "static" || set == 0 || load == 0 || len(values.Rows("readings")) > 0 {
		return
	}
	switch {
	case load > set+planner.MeterSlack:
		d.odd("load_voltage_v", nil, "Load voltage is far above the set %v. Read it again under load, or correct the set voltage.", set)
	case load < set-deepDroop:
		d.odd("load_voltage_v", nil, "Load voltage is more than %.0f mV below the set %v. Read it again under load.", deepDroop.Millivolts(), set)
	}
}

// steady are the loads that keep all cores at their set clock.
var steady = []trial.Load{trial.Scalar, trial.WideVector, trial.Mixed}

// clock doubts a clock above the set one, and a clean trial below it.
func (d *doubts) clock(t trial.Trial, m trial.Machine) {
	base := float64(m.BaseClock)
	if base == 0 {
		base = float64(planner.UsualBaseClock)
	}
	read := float64(t.Readings.Clock)
	if read == 0 || t.Settings.Ratio == 0 {
		return
	}
	if top := float64(max(t.Settings.Ratio, m.StockRatio)) * base; read > top*1.05+50 {
		d.odd("clock_mhz", nil, "That is above the set ratio times the base clock, %s. Read the clock again.", units.Format("MHz", top))
		return
	}
	ratio := t.Settings.Ratio
	if t.Load != trial.Scalar {
		ratio -= units.Ratio(t.Settings.WideVectorOffset)
	}
	if set := float64(ratio) * base; t.Outcome == trial.Clean && slices.Contains(steady, t.Load) && read < set*clockShort {
		d.odd("outcome", string(trial.Throttled), "%s lies below the set %s, so something slowed the cores down. Then the trial was not clean.",
			units.Format("MHz", read), units.Format("MHz", set))
	}
}

// heat doubts a core cooler than the room, and one far above its limit.
func (d *doubts) heat(t trial.Trial, limit units.Celsius) {
	core, air := t.Readings.CoreTemp, t.Readings.AirTemp
	switch {
	case air > 0 && core > 0 && core < air:
		d.impossible("core_temp_c", nil, "A core under load cannot be cooler than the room. Read the hottest core again.")
	case limit > 0 && core > limit+hotSlack:
		var meant any
		if s, ok := units.SlipOf("°C", float64(core), float64(max(air, 10)), float64(limit)); ok {
			meant = s.Value
		}
		d.odd("core_temp_c", meant, "%v is above the limit of %v, where the processor has long slowed down. Read it in °C.", core, limit)
	}
}

// power doubts a package power far from the expected one.
func (d *doubts) power(t trial.Trial, e *trial.Expectation) {
	read := float64(t.Readings.PackagePower)
	if e == nil || read == 0 || t.Outcome != trial.Clean || !slices.Contains(steady, t.Load) {
		return
	}
	if low, mid, high := e.PackagePower[0], e.PackagePower[1], e.PackagePower[2]; read < min(low, mid/powerFactor) || read > max(high, mid*powerFactor) {
		d.odd("package_power_w", shifted(read, min(low, mid/1.5), max(high, mid*1.5)), "About %s is expected under this load, and you typed %s. Read the package power again.",
			units.Format("W", mid), units.Format("W", read))
	}
}

// newestScore is the middle of the newest clean scores under a load, 0 if
// there are none.
func (s *State) newestScore(load trial.Load) float64 {
	for _, t := range slices.Backward(s.Trials) {
		if t.Load == load && t.Outcome == trial.Clean && t.Readings.Score > 0 {
			return t.Readings.Score
		}
	}
	return 0
}

// scores doubts a score that is a multiple or a fraction of the others.
func (d *doubts) scores(t trial.Trial, before float64, values trial.Values) {
	near := before
	if near == 0 {
		near = t.Readings.Score
	}
	far := func(v float64) bool { return v > near*scoreFactor || v < near/scoreFactor }
	say := func(field string, v float64) {
		d.odd(field, shifted(v, near/1.3, near*1.3), "The other scores under this load are about %s, and this one is %s. Read it again.",
			units.Format("points", near), units.Format("points", v))
	}
	if v, ok := values.Number("score"); ok && v > 0 && far(v) {
		say("score", v)
	}
	for i, row := range values.Rows("scores") {
		if v := row["score"]; v > 0 && far(v) {
			say(fmt.Sprintf("scores.%d.score", i), v)
		}
	}
}

// shifted offers v with its decimal mark moved, where that brings it from low
// to high.
func shifted(v, low, high float64) any {
	for _, by := range []float64{10, 0.1, 100, 0.01, 1000, 0.001} {
		if x := v * by; x >= low && x <= high {
			return math.Round(x*1e6) / 1e6
		}
	}
	return nil
}
