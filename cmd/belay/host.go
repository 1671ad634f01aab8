package main

import (
	"context"
	"log/slog"
	"math"
	"time"

	"belay/internal/aftermath"
	"belay/internal/assist"
	"belay/internal/bootlog"
	"belay/internal/heartbeat"
	"belay/internal/rig"
	"belay/internal/sample"
	"belay/internal/trial"
	"belay/internal/units"
)

// host is this PC: its signs of life, its sensors, and what it recorded of
// its own stops.
type host struct {
	ring *heartbeat.Ring
	boot bootlog.Boot
	log  *slog.Logger
}

// openHost opens the ring of signs of life at path. Where the boot before
// ended in an orderly way, it learns how long a restart takes.
func openHost(path string, log *slog.Logger) (*host, error) {
	ring, err := heartbeat.Open(path)
	if err != nil {
		return nil, err
	}
	h := &host{ring: ring, boot: bootlog.Now(), log: log}
	found := ring.Found()
	if n := len(found); n > 0 && found[n-1].Kind == heartbeat.Closed && found[n-1].Boot != h.name() {
		if took := h.boot.Started.Sub(found[n-1].Wall); took > 0 && took < longestRestart {
			err = ring.LearnRestart(took)
		}
	}
	return h, err
}

// longestRestart is the longest time off that still counts as a restart and
// not as a PC that was left off. Chosen: several times the slowest start.
const longestRestart = 5 * time.Minute

// ports is what the use cases may ask of this PC.
func (h *host) ports() assist.Bench {
	return assist.Bench{StartLoad: startLoad, Pulse: h.pulse, Watch: h.watch, Found: h.found}
}

func (h *host) name() uint64 { return heartbeat.Name(h.boot.ID) }

// close leaves the mark of an orderly end.
func (h *host) close() {
	h.beat(heartbeat.Beat{Kind: heartbeat.Closed})
	if err := h.ring.Close(); err != nil {
		h.log.Warn("the heartbeat could not be closed", "error", err)
	}
}

func (h *host) beat(x heartbeat.Beat) {
	x.Wall, x.Boot = time.Now(), h.name()
	x.Since, _ = heartbeat.SinceBoot() // without it the beat still has its number
	if err := h.ring.Beat(x); err != nil {
		h.log.Warn("a sign of life could not be written", "error", err)
	}
}

// pulse beats once a second until the function that it returns is called.
func (h *host) pulse(session string, n int, newest func() trial.Readings) func() {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	own := heartbeat.Beat{Boot: h.name(), Session: heartbeat.Name(session), Trial: uint32(n)}
	go func() {
		defer close(ended)
		err := heartbeat.Run(ctx, h.ring, heartbeat.Stamp{Now: time.Now, Since: heartbeat.SinceBoot}, func(x *heartbeat.Beat) {
			r := newest()
			x.Boot, x.Session, x.Trial = own.Boot, own.Session, own.Trial
			x.Temp, x.Power = r.CoreTemp, r.PackagePower
		})
		if err != nil {
			h.log.Warn("signs of life could not be written", "error", err)
		}
	}()
	return func() {
		cancel()
		<-ended
		own.Kind = heartbeat.Ended
		h.beat(own)
	}
}

// found weighs what is left of a trial that has no end on record.
func (h *host) found(u assist.Unended) assist.Verdict {
	f := aftermath.Facts{
		BootKnown: u.BootID != "" && h.boot.ID != "", SameBoot: u.BootID == h.boot.ID,
		Usual: h.ring.Restart(), MemoryChanged: u.MemoryChanged, Limit: u.Limit,
	}
	since := u.Started
	if last, ok := h.lastOf(u); ok {
		f.Mark = map[heartbeat.Kind]aftermath.Mark{
			heartbeat.Alive: aftermath.Alive, heartbeat.Ended: aftermath.Ended, heartbeat.Closed: aftermath.Closed,
		}[last.Kind]
		f.Ran, f.Late, f.Temp, since = last.Ran, last.Late, last.Temp, last.Wall
		f.OffKnown, f.Off = !h.boot.Started.IsZero(), h.boot.Started.Sub(last.Wall)
	}
	f.Signs = bootlog.Signs(since)
	v := aftermath.Classify(f)
	return assist.Verdict{
		Outcome: v.Outcome, Dated: f.Mark != aftermath.NoMark, Minutes: units.Minutes(v.Minutes + v.Bound/2),
		Certainty: string(v.Certainty), Says: v.Says, Evidence: v.Evidence,
	}
}

// lastOf returns the newest sign of life of that trial, or the mark that Belay
// closed after it.
func (h *host) lastOf(u assist.Unended) (heartbeat.Beat, bool) {
	var last heartbeat.Beat
	ok := false
	for _, x := range h.ring.Found() {
		switch {
		case x.Session == heartbeat.Name(u.Session) && x.Trial == uint32(u.Trial):
			last, ok = x, true
		case ok && x.Kind == heartbeat.Closed && x.Boot == last.Boot:
			x.Wall, x.Temp, x.Ran = last.Wall, last.Temp, last.Ran
			last = x
		}
	}
	return last, ok
}

// sensorWatch reads this PC's sensors once a second.
type sensorWatch struct {
	want   sample.Want
	cancel context.CancelFunc
	ended  chan struct{}
	newest chan sample.Values // holds one
	series sample.Series
}

// watch starts reading, or returns nil where this PC shows no sensors.
func (h *host) watch(w assist.WatchSpec) assist.SensorWatch {
	here, err := rig.Here()
	if err != nil {
		return nil
	}
	sensors := here.Sensors()
	if !sensors.Any() {
		return nil
	}
	ctx, cancel := context.WithCancel(context.Background())
	s := &sensorWatch{
		want: sample.Want{Clock: w.Clock, Limit: w.Limit}, cancel: cancel,
		ended: make(chan struct{}), newest: make(chan sample.Values, 1),
	}
	s.newest <- sample.None()
	go func() {
		defer close(s.ended)
		tick := time.NewTicker(rig.Rate)
		defer tick.Stop()
		err := sensors.Watch(ctx, tick.C, func(at float64, v sample.Values) error {
			<-s.newest
			s.newest <- v
			return s.series.Add(at, v)
		})
		if err != nil {
			h.log.Warn("reading the sensors ended early", "error", err)
		}
	}()
	return s
}

// Newest returns the newest readings.
func (s *sensorWatch) Newest() trial.Readings {
	v := <-s.newest
	s.newest <- v
	var r trial.Readings
	set := func(q sample.Quantity, put func(float64)) {
		if x := v[q]; !math.IsNaN(x) {
			put(x)
		}
	}
	set(sample.Voltage, func(x float64) { r.LoadVoltage = units.Volt(x) })
	set(sample.Temp, func(x float64) { r.CoreTemp = units.Celsius(x) })
	set(sample.Power, func(x float64) { r.PackagePower = units.Watt(x) })
	set(sample.Clock, func(x float64) { r.Clock = units.Megahertz(x) })
	return r
}

// End stops reading and reduces what was read.
func (s *sensorWatch) End() (trial.Readings, bool, []string) {
	s.cancel()
	<-s.ended
	r := s.series.Reduce(s.want)
	return r.Readings(), r.ClockState == sample.Slowed && !r.AtCap, r.Warnings
}
