package planner

import (
	"math"

	"belay/internal/heat"
	"belay/internal/loadline"
	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// belief is what the models make of the evidence.
type belief struct {
	base   units.Megahertz
	limits units.Celsius
	heat   heat.Model
	line   loadline.Line
	lined  bool // the load line rests on readings
	need   *stability.Posterior
	stock  units.Volt // load voltage of the stock baseline, 0 if not read
	ratio  units.Ratio
	air    units.Celsius // newest reading of the room, 0 if there is none
}

// predictLevel is the width of the expectations: 5 % to 95 %.
const predictLevel = 0.9

// believe fits every model to the evidence. It does not fail: a model without
// evidence keeps its prior, and reads that it cannot use are left out.
func believe(in Input) *belief {
	b := &belief{base: in.Machine.BaseClock, limits: in.Limits.TempLimit, ratio: in.Machine.StockRatio}
	if b.base == 0 {
		b.base = UsualBaseClock
	}
	b.fitLine(in)
	b.fitHeat(in)
	b.fitNeed(in)
	return b
}

func (b *belief) fitLine(in Input) {
	var readings []loadline.Reading
	for _, r := range in.LoadLine {
		readings = append(readings, loadline.Reading{
			Set: units.Volt(r["set_voltage_v"]), Load: units.Volt(r["load_voltage_v"]), Power: units.Watt(r["package_power_w"]),
		})
	}
	for _, t := range in.Trials {
		// Only core trials are surely at the load-line level that was kept.
		if t.Stage == "core" && t.Settings.VoltageMode == "static" && t.Readings.LoadVoltage > 0 && t.Readings.PackagePower > 0 {
			readings = append(readings, loadline.Reading{
				Set: t.Settings.SetVoltage, Load: t.Readings.LoadVoltage, Power: t.Readings.PackagePower,
			})
		}
	}
	line, err := loadline.Fit(in.priors().LoadLine, readings)
	if err != nil { // readings that contradict: the prior alone, which is wide
		line, _ = loadline.Fit(in.priors().LoadLine, nil)
		readings = nil
	}
	b.line, b.lined = line, len(readings) > 0
}

func (b *belief) fitHeat(in Input) {
	var obs []heat.Observation
	for _, t := range in.Trials {
		if t.Readings.AirTemp > 0 {
			b.air = t.Readings.AirTemp
		}
		if o, ok := heat.FromTrial(t, b.base); ok {
			obs = append(obs, o)
		}
	}
	b.heat = heat.Fit(in.priors().Heat.For(in.Machine.Cores), obs)
}

// coreLoads are the loads whose failures speak of the core voltage. A memory
// or cache trial judges memory or cache settings, which this curve does not
// know.
func coreLoad(l trial.Load) bool {
	return l == trial.Scalar || l == trial.WideVector || l == trial.Mixed
}

// stockVoltage is the load voltage of the newest clean baseline; 0 if it was
// not read.
func stockVoltage(trials []trial.Trial) units.Volt {
	var v units.Volt
	for _, t := range trials {
		if (t.Stage == "power-cap" || t.Stage == "baseline") && t.Outcome == trial.Clean && t.Readings.LoadVoltage > 0 {
			v = t.Readings.LoadVoltage
		}
	}
	return v
}

func (b *belief) fitNeed(in Input) {
	b.stock = stockVoltage(in.Trials)
	if b.stock == 0 || b.ratio == 0 {
		return
	}
	var obs []stability.Observation
	for _, t := range in.Trials {
		if !coreLoad(t.Load) {
			continue
		}
		if t.Settings.Ratio == 0 { // as delivered: at the clock that was read
			t.Settings.Ratio = b.ratio
			if t.Readings.Clock > 0 {
				t.Settings.Ratio = units.Ratio(math.Round(float64(t.Readings.Clock / b.base)))
			}
		}
		if t.Readings.LoadVoltage == 0 {
			t.Readings.LoadVoltage = units.Volt(b.loadVoltage(t.Settings, t.Load)[1])
		}
		if o, ok := stability.FromTrial(t); ok {
			obs = append(obs, o)
		}
	}
	prior := in.priors().Stability.Prior(b.ratio, b.stock)
	prior.BaseClock = b.base
	if p, err := stability.Fit(prior, obs); err == nil {
		b.need = p
	}
}

// clock returns the core clock that the settings run under the load.
func (b *belief) clock(s trial.Settings, load trial.Load) units.Megahertz {
	r := s.Ratio
	if r == 0 {
		r = b.ratio
	}
	if load == trial.WideVector {
		r -= units.Ratio(s.WideVectorOffset)
	}
	return units.Megahertz(r) * b.base
}

// loadVoltage predicts the load voltage of a static setting. Voltage and
// power depend on each other; three rounds settle them to well below a
// millivolt.
func (b *belief) loadVoltage(s trial.Settings, load trial.Load) trial.Interval {
	if s.SetVoltage == 0 {
		v := float64(b.stock)
		return trial.Interval{v - 0.02, v, v + 0.02}
	}
	at := s.SetVoltage
	var out trial.Interval
	for range 3 {
		power := 200.0 // W, chosen: a usual draw under load until it can be predicted
		if p, err := b.heat.Predict(heat.Point{Load: load, Voltage: at, Clock: b.clock(s, load), AirTemp: b.air}, predictLevel); err == nil {
			power = p.Power.Mid
		}
		x, err := b.line.LoadAt(s.SetVoltage, units.Watt(power), predictLevel)
		if err != nil {
			return trial.Interval{float64(s.SetVoltage) - 0.1, float64(s.SetVoltage) - 0.03, float64(s.SetVoltage)}
		}
		out = trial.Interval{x.Low, x.Mid, x.High}
		at = units.Volt(x.Mid)
	}
	if top := float64(s.SetVoltage + MeterSlack); !b.lined && out[2] > top {
		// Before any reading: hardly a load line lifts the voltage at full load.
		out[2] = top
		out[1] = min(out[1], top)
		out[0] = min(out[0], out[1])
	}
	return out
}

// expect predicts a trial; nil where there is too little to go by. minutes 0
// means until the temperature has settled.
func (b *belief) expect(s trial.Settings, load trial.Load, minutes units.Minutes) *trial.Expectation {
	if b.stock == 0 || b.clock(s, load) == 0 {
		return nil
	}
	v := b.loadVoltage(s, load)
	at := heat.Point{Load: load, Voltage: units.Volt(v[1]), Clock: b.clock(s, load), AirTemp: b.air, Minutes: minutes}
	p, err := b.heat.Predict(at, predictLevel)
	if err != nil {
		return nil
	}
	at.Voltage = units.Volt(v[2]) // the high end stands for the highest load voltage too
	top, err := b.heat.Predict(at, predictLevel)
	if err != nil {
		return nil
	}
	e := &trial.Expectation{
		LoadVoltage:  round(v, 1e3),
		CoreTemp:     round(trial.Interval{p.Temp.Low, p.Temp.Mid, top.Temp.High}, 10),
		PackagePower: round(trial.Interval{p.Power.Low, p.Power.Mid, top.Power.High}, 10),
	}
	if c := float64(s.SustainedLimit); c > 0 && e.PackagePower[2] > c {
		// A cap holds power, and with it temperature, at the cap.
		e.PackagePower = trial.Interval{min(e.PackagePower[0], c), min(e.PackagePower[1], c), c}
		if sum, err := b.heat.Summary(predictLevel); err == nil {
			e.CoreTemp[2] = min(e.CoreTemp[2], sum.Room.Mid+sum.Resistance.High*c)
			e.CoreTemp[1] = min(e.CoreTemp[1], e.CoreTemp[2])
			e.CoreTemp[0] = min(e.CoreTemp[0], e.CoreTemp[1])
		}
	}
	return e
}

func round(x trial.Interval, per float64) trial.Interval {
	for i := range x {
		x[i] = math.Round(x[i]*per) / per
	}
	return x
}

// temp is the expected temperature of the hottest core; 0 if unknown.
func (b *belief) temp(s trial.Settings, load trial.Load) units.Celsius {
	if e := b.expect(s, load, 0); e != nil {
		return units.Celsius(e.CoreTemp[1])
	}
	return 0
}

// pass is the probability that a trial runs clean; 0 if it cannot be told.
func (b *belief) pass(s trial.Settings, load trial.Load, minutes units.Minutes) float64 {
	if b.need == nil || !coreLoad(load) || s.SetVoltage == 0 {
		return 0
	}
	v := units.Volt(b.loadVoltage(s, load)[1])
	return b.need.PassProbability(load, b.under(s, load), v, b.temp(s, load), minutes)
}

// under is the ratio that runs under the load.
func (b *belief) under(s trial.Settings, load trial.Load) units.Ratio {
	if load == trial.WideVector {
		return s.Ratio - units.Ratio(s.WideVectorOffset)
	}
	return s.Ratio
}

// confidence is the probability that the settings meet the target.
func (b *belief) confidence(s trial.Settings, load trial.Load, targetH float64) float64 {
	if b.need == nil {
		return 0
	}
	v := units.Volt(b.loadVoltage(s, load)[1])
	return b.need.Confidence(load, b.under(s, load), v, b.temp(s, load), targetH)
}
