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
	base     units.Megahertz
	limits   units.Celsius
	heat     heat.Model
	line     loadline.Line
	lined    bool   // the load line rests on readings
	loadLine string // the level that it is for
	need     *stability.Posterior
	prior    stability.Prior
	stock    units.Volt // load voltage of the stock baseline, 0 if not read
	stockAt  units.Ratio
	ratio    units.Ratio
	longest  units.Minutes // run whose temperature was read
	capW     units.Watt    // sustained limit as delivered, 0 if not known
	air      units.Celsius // newest reading of the room, 0 if there is none
	tuning   Tuning
}

// predictLevel is the width of the expectations: 5 % to 95 %.
const predictLevel = 0.9

// believe fits every model to the evidence. It does not fail: a model without
// evidence keeps its prior, and reads that it cannot use are left out.
func believe(in Input) *belief {
	b := newBelief(in)
	b.fitLine(in)
	b.fitHeat(in)
	b.fitNeed(in)
	return b
}

func newBelief(in Input) *belief {
	b := &belief{base: in.Machine.BaseClock, limits: in.Limits.TempLimit, ratio: in.Machine.StockRatio, capW: in.Machine.SustainedLimit, tuning: in.Tuning}
	if b.base == 0 {
		b.base = UsualBaseClock
	}
	return b
}

// powerCap is the sustained limit in force, 0 if there is none.
func (b *belief) powerCap(s trial.Settings) units.Watt {
	if s.SustainedLimit > 0 {
		return s.SustainedLimit
	}
	return b.capW
}

// capShare is how much of a power cap a setting may draw and still count as
// running at its full clock. Chosen: within the error of a power reading.
const capShare = 0.98

// fits reports whether the settings run at their own clock: the power cap does
// not hold them down, as far as can be told.
func (b *belief) fits(s trial.Settings, load trial.Load) bool {
	limit := b.powerCap(s)
	if limit == 0 {
		return true
	}
	s.SustainedLimit = liftedLimit
	m, ok := b.middle(s, load)
	return !ok || m.watt <= capShare*limit
}

// ran is the trial with the ratio that it truly ran at: a cap or heat may have
// held its clock down. A clean run proves no more than that, and a failure
// speaks against no less.
func (b *belief) ran(t trial.Trial) trial.Trial {
	at := float64(t.Readings.Clock / b.base)
	offset := units.Ratio(0)
	if t.Load == trial.WideVector {
		offset = units.Ratio(t.Settings.WideVectorOffset)
	}
	switch {
	case t.Settings.Ratio == 0:
		t.Settings.Ratio = b.ranAt(t.Readings)
	case t.Readings.Clock == 0 || at > float64(t.Settings.Ratio-offset)-0.5:
	case t.Outcome.Failed():
		t.Settings.Ratio = units.Ratio(math.Ceil(at-clockError)) + offset
	default:
		t.Settings.Ratio = units.Ratio(math.Floor(at+clockError)) + offset
	}
	return t
}

// clockError is how far a mean clock may be off, in ratio steps. Chosen: clocks
// are spread by up to half a percent.
const clockError = 0.25

func (b *belief) fitLine(in Input) {
	b.loadLine = in.Settings.LoadLine
	if e, ok := in.Endings["voltage-mode"]; ok && !e.Blocked {
		b.loadLine = e.Keep.LoadLine
	}
	var readings []loadline.Reading
	for _, r := range in.LoadLine {
		readings = append(readings, loadline.Reading{
			Set: units.Volt(r["set_voltage_v"]), Load: units.Volt(r["load_voltage_v"]), Power: units.Watt(r["package_power_w"]),
		})
	}
	for _, t := range in.Trials {
		// Only core trials are surely at the load-line level that was kept.
		if t.Stage == "core" && b.onLine(t.Settings) && t.Readings.LoadVoltage > 0 && t.Readings.PackagePower > 0 {
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

// onLine reports whether the settings are at the load line that is fitted.
func (b *belief) onLine(s trial.Settings) bool {
	return s.VoltageMode == "static" && s.SetVoltage > 0 && s.LoadLine == b.loadLine
}

func (b *belief) fitHeat(in Input) {
	var obs []heat.Observation
	for _, t := range in.Trials {
		if t.Readings.AirTemp > 0 {
			b.air = t.Readings.AirTemp
		}
		if o, ok := heat.FromTrial(t, b.base); ok {
			obs = append(obs, o)
			b.longest = max(b.longest, o.Minutes)
		}
	}
	prior := in.priors().Heat.For(in.Machine.Cores)
	prior.WarmUp.Spread = max(prior.WarmUp.Spread, warmSpread)
	b.heat = heat.Fit(prior, obs)
	if tau := b.heat.Tau(); tau >= slowWarmUp {
		// The model warms up from the air, a PC from its idle temperature. Where
		// that takes long, the head start would pass for a quick warm-up.
		for i := range obs {
			if m := obs[i].Minutes; m > 0 && obs[i].CoreTemp > 0 {
				obs[i].CoreTemp -= units.Celsius(idleRise * math.Exp(-float64(m/tau)))
			}
		}
		b.heat = heat.Fit(prior, obs)
	}
}

// slowWarmUp is the warm-up time from which the start of a run matters, in
// minutes. Chosen: below it less than half a degree is left after 8 minutes.
const slowWarmUp units.Minutes = 2.5

// warmSpread is how unsure the warm-up time is before any reading, as the
// standard deviation of its logarithm. Chosen: liquid coolers and closed cases
// take up to ten minutes. A trial too short to settle then predicts widely.
const warmSpread = 0.7

// coreLoads are the loads whose failures speak of the core voltage. A memory
// or cache trial judges memory or cache settings, which this curve does not
// know.
func coreLoad(l trial.Load) bool {
	return l == trial.Scalar || l == trial.WideVector || l == trial.Mixed
}

func (b *belief) fitNeed(in Input) {
	b.readStock(in.Trials)
	if b.stock == 0 || b.ratio == 0 {
		return
	}
	b.prior = in.priors().Stability.Prior(b.stockAt, b.stock)
	b.prior.BaseClock = b.base
	b.prior.KT = max(b.prior.KT, hotNeed)
	var obs []stability.Observation
	for _, t := range in.Trials {
		if !coreLoad(t.Load) || b.tuning.OwnRatio && t.Stage == "core" && t.Settings.Ratio != in.Trials[len(in.Trials)-1].Settings.Ratio {
			continue
		}
		t.Readings.LoadVoltage = b.loadVoltageOf(t)
		if o, ok := stability.FromTrial(b.ran(t)); ok {
			obs = append(obs, b.warmed(o, t.Minutes))
		}
	}
	if p, err := stability.Fit(b.prior, obs); err == nil {
		b.need = p
	}
}

// readStock finds the delivered load voltage and the ratio that it belongs to:
// a cap or heat may have held the clock below the stock ratio, and the
// delivered voltage falls with the clock.
func (b *belief) readStock(trials []trial.Trial) {
	for _, t := range trials {
		if t.Stage != "power-cap" && t.Stage != "baseline" || t.Settings.SetVoltage > 0 || t.Readings.LoadVoltage == 0 {
			continue
		}
		if t.Outcome == trial.Clean || t.Outcome == trial.Throttled {
			if at := b.ranAt(t.Readings); at >= b.stockAt {
				b.stock, b.stockAt = t.Readings.LoadVoltage, at
			}
		}
	}
}

// ranAt is the ratio at which the PC ran as delivered.
func (b *belief) ranAt(r trial.Readings) units.Ratio {
	if r.Clock > 0 {
		return units.Ratio(math.Round(float64(r.Clock / b.base)))
	}
	return b.ratio
}

// loadVoltageOf is the load voltage at which a trial ran. Where the load line
// is known it says so better than one reading of a meter that scatters and
// wanders: the set voltage is exact. A reading that lies far from it wins,
// since then something is not as it was said to be.
func (b *belief) loadVoltageOf(t trial.Trial) units.Volt {
	read := t.Readings.LoadVoltage
	if b.lined && b.onLine(t.Settings) {
		line, ok := units.Volt(0), false
		if p := t.Readings.PackagePower; p > 0 {
			line, ok = b.line.Shown(t.Settings.SetVoltage, p)
		} else if m, fine := b.middle(t.Settings, t.Load); fine {
			line, ok = m.volt, true
		}
		if ok && (read == 0 || max(line-read, read-line) <= MeterSlack) {
			return line
		}
	}
	if read == 0 {
		m, _ := b.middle(t.Settings, t.Load)
		return m.volt
	}
	return read
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

// point is what a setting most likely settles at.
type point struct {
	volt units.Volt // as the meter shows it
	temp units.Celsius
	watt units.Watt
}

// unknownPower is a usual draw under load until it can be predicted, W.
// Chosen.
const unknownPower units.Watt = 200

// middle predicts where a setting most likely settles. Voltage and power
// depend on each other; a few rounds settle them to well below a millivolt.
func (b *belief) middle(s trial.Settings, load trial.Load) (point, bool) {
	p := point{volt: s.SetVoltage, watt: unknownPower}
	if s.SetVoltage == 0 {
		p.volt = b.stock
	}
	known := true
	for range 3 {
		watt, temp, ok := b.heat.Middle(heat.Point{Load: load, Voltage: p.volt, Clock: b.clock(s, load), AirTemp: b.air})
		known = ok
		if ok {
			p.watt, p.temp = watt, temp
		}
		if c := b.powerCap(s); c > 0 {
			p.watt = min(p.watt, c)
		}
		if s.SetVoltage == 0 {
			return p, known
		}
		v, ok := b.line.Shown(s.SetVoltage, p.watt)
		if !ok {
			p.volt = s.SetVoltage - 0.03
			return p, false
		}
		p.volt = v
	}
	if top := s.SetVoltage + MeterSlack; !b.lined && p.volt > top {
		p.volt = top // before any reading: hardly a load line lifts the voltage at full load
	}
	return p, known
}

// loadVoltage predicts the load voltage that the meter shows, with its
// interval.
func (b *belief) loadVoltage(s trial.Settings, load trial.Load) trial.Interval {
	m, _ := b.middle(s, load)
	if s.SetVoltage == 0 {
		v := float64(b.stock)
		return trial.Interval{v - 0.02, v, v + 0.02}
	}
	x, err := b.line.LoadAt(s.SetVoltage, m.watt, predictLevel)
	if err != nil {
		return trial.Interval{float64(s.SetVoltage) - 0.1, float64(s.SetVoltage) - 0.03, float64(s.SetVoltage)}
	}
	out := trial.Interval{x.Low, x.Mid, x.High}
	if top := float64(s.SetVoltage + MeterSlack); !b.lined && out[2] > top {
		out[2] = top
		out[1] = min(out[1], top)
		out[0] = min(out[0], out[1])
	}
	return out
}

// highest is the load voltage itself at its upper end: what the meter is off
// by is left out, since the set voltage is exact. Before the load line is
// measured it is 0: not known.
func (b *belief) highest(s trial.Settings, load trial.Load) units.Volt {
	if !b.lined || !b.onLine(s) {
		return 0
	}
	m, _ := b.middle(s, load)
	x, err := b.line.Real(s.SetVoltage, m.watt, predictLevel)
	if err != nil {
		return s.SetVoltage
	}
	return units.Volt(max(x.High, float64(m.volt)))
}

// expect predicts a trial; nil where there is too little to go by. minutes 0
// means until the temperature has settled.
func (b *belief) expect(s trial.Settings, load trial.Load, minutes units.Minutes) *trial.Expectation {
	if b.stock == 0 || b.clock(s, load) == 0 {
		return nil
	}
	v := b.loadVoltage(s, load)
	at := heat.Point{Load: load, Voltage: units.Volt(v[1]), Clock: b.clock(s, load), AirTemp: b.air, Minutes: minutes}
	at.VoltageSD = units.Volt((v[2] - v[0]) / (2 * 1.645))
	p, err := b.heat.Predict(at, predictLevel)
	if err != nil {
		return nil
	}
	p.Temp.High += b.unreached(at)
	e := &trial.Expectation{
		LoadVoltage:  round(v, 1e3),
		CoreTemp:     round(trial.Interval{p.Temp.Low, p.Temp.Mid, p.Temp.High}, 10),
		PackagePower: round(trial.Interval{p.Power.Low, p.Power.Mid, p.Power.High}, 10),
	}
	if c := float64(b.powerCap(s)); c > 0 && e.PackagePower[2] > c {
		// A cap holds power, and with it temperature, at the cap.
		e.PackagePower = trial.Interval{min(e.PackagePower[0], c), min(e.PackagePower[1], c), c}
		if sum, err := b.heat.Summary(predictLevel); err == nil {
			room := sum.Room.Mid
			if b.air > 0 {
				room = float64(b.air)
			}
			e.CoreTemp[2] = min(e.CoreTemp[2], room+sum.Resistance.High*c)
			e.CoreTemp[1] = min(e.CoreTemp[1], e.CoreTemp[2])
			e.CoreTemp[0] = min(e.CoreTemp[0], e.CoreTemp[1])
		}
	}
	return e
}

// unreachedShare is the share of a rise that no run has lasted long enough to
// show which is added to the upper end of a temperature. Chosen: coolers and
// cases warm up on more than one time scale.
const unreachedShare = 0.5

// unreached is what is added for a run that is longer than every one so far.
func (b *belief) unreached(at heat.Point) float64 {
	if b.longest == 0 || at.Minutes > 0 && at.Minutes <= b.longest {
		return 0
	}
	_, end, ok := b.heat.Middle(at)
	at.Minutes = b.longest
	_, seen, seenOK := b.heat.Middle(at)
	if !ok || !seenOK {
		return 0
	}
	return unreachedShare * max(0, float64(end-seen))
}

func round(x trial.Interval, per float64) trial.Interval {
	for i := range x {
		x[i] = math.Round(x[i]*per) / per
	}
	return x
}

// pass is the probability that a trial runs clean; 0 if it cannot be told.
func (b *belief) pass(s trial.Settings, load trial.Load, minutes units.Minutes) float64 {
	if b.need == nil || !coreLoad(load) || s.SetVoltage == 0 {
		return 0
	}
	m, _ := b.middle(s, load)
	return b.need.PassProbability(load, b.under(s, load), m.volt, m.temp, minutes)
}

// under is the ratio that runs under the load.
func (b *belief) under(s trial.Settings, load trial.Load) units.Ratio {
	if load == trial.WideVector {
		return s.Ratio - units.Ratio(s.WideVectorOffset)
	}
	return s.Ratio
}

// confidence is the probability that the settings meet the target, with the
// care that tails ask for.
func (b *belief) confidence(s trial.Settings, load trial.Load, targetH float64) float64 {
	if b.need == nil {
		return 0
	}
	m, _ := b.middle(s, load)
	return b.need.Confidence(load, b.under(s, load), m.volt, m.temp, b.tuning.careful(targetH))
}
