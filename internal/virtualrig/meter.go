package virtualrig

import (
	"math"
	"slices"

	"belay/internal/trial"
	"belay/internal/units"
)

// meter is the truth about the rig's sensors.
type meter struct {
	offset float64 // V
	wander float64 // V, amplitude over trials
	period float64 // trials
	phase  float64
	noise  float64 // V, standard deviation of a trial's median
	step   float64 // V, quantisation
	gain   float64 // power read per true power
}

func drawMeter(d dice) meter {
	return meter{
		offset: d.normal(0, 0.003, -0.006, 0.006), period: d.between(20, 60), phase: d.between(0, 2*math.Pi),
		noise: 0.001 * d.between(1, 5), step: pick(d, 0.001, 0.004, 0.0125), gain: d.normal(1, 0.015, 0.96, 1.04),
	}
}

// shortestRead is how long a trial must run before its readings are on
// record, in minutes. Chosen: loggers write every few seconds.
const shortestRead = 0.2

// read returns the readings of a trial that ran for elapsed minutes.
func (t *truth) read(d dice, n int, s state, temp, elapsed float64, u setup) trial.Readings {
	r := trial.Readings{AirTemp: units.Celsius(quantise(t.cooling.air+0.2*d.NormFloat64(), 0.5)), DataRate: u.memory.rate}
	if elapsed < shortestRead {
		return r
	}
	m := &t.meter
	volts := s.volts + m.offset + m.wander*math.Sin(2*math.Pi*float64(n)/m.period+m.phase) + m.noise*d.NormFloat64()
	r.LoadVoltage = units.Volt(quantise(quantise(volts, m.step), 0.0001))
	r.CoreTemp = units.Celsius(min(math.Round(temp+0.7*d.NormFloat64()), t.cooling.limit))
	r.PackagePower = units.Watt(quantise(s.watts*m.gain*(1+0.008*d.NormFloat64()), 0.1))
	r.Clock = units.Megahertz(math.Round(min(s.ratio*baseClock+3*d.NormFloat64(), u.ratio*baseClock)))
	return r
}

// bench is the truth about the rig's scores.
type bench struct {
	level [loads]float64 // points at the stock ratio with the rated memory profile
	clock [loads]float64 // relative score per relative clock
	noise float64        // relative, standard deviation of one score
}

func drawBench(d dice, cores int) bench {
	size := float64(cores)
	b := bench{noise: d.between(0.003, 0.008)}
	for i, per := range [loads]float64{scalar: 640, wide: 410, cached: 350, memory: 120, mixed: 480, bursty: 190} {
		b.level[i] = per * size * d.between(0.95, 1.05)
		b.clock[i] = d.between(0.77, 0.85)
	}
	b.clock[memory] = d.between(0.12, 0.20)
	return b
}

// bandwidth and latency are relative scores per relative memory data rate and
// latency. Chosen: small, as common practice has it, save for a memory load.
const (
	bandwidthShare, bandwidthShareMemory = 0.02, 0.60
	latencyShare, latencyShareMemory     = 0.03, 0.20
)

// trueScore returns the score without noise.
func (t *truth) trueScore(load int, u setup, s state) float64 {
	b, k := &t.bench, t.dram.kit.rated
	bw, lat := bandwidthShare, latencyShare
	if load == memory {
		bw, lat = bandwidthShareMemory, latencyShareMemory
	}
	m := u.memory
	delay := (m.ns(m.cl) + m.ns(m.rcd)) / (k.ns(k.cl) + k.ns(k.rcd))
	return b.level[load] * math.Pow(s.ratio/t.core.stock, b.clock[load]) *
		math.Pow(t.cacheRatio(load, u, s)/t.cache.stock, t.cache.elasticity) *
		math.Pow(float64(m.rate)/float64(k.rate), bw) * math.Pow(delay, -lat)
}

// score adds three repeated scores and their median.
func (t *truth) score(d dice, r *trial.Readings, load int, u setup, s state) {
	level := t.trueScore(load, u, s)
	for range 3 {
		r.Scores = append(r.Scores, quantise(level*math.Exp(t.bench.noise*d.NormFloat64()), 0.1))
	}
	sorted := slices.Sorted(slices.Values(r.Scores))
	r.Score = sorted[1]
}
