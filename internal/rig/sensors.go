package rig

import (
	"math"
	"path"
	"strings"

	"belay/internal/sample"
)

// Channel is one sensor that was found, whether Belay uses it or not.
type Channel struct {
	Name   string   `json:"name"`           // chip and label
	Value  *float64 `json:"value"`          // nil: could not be read now
	Unit   string   `json:"unit"`           // V, °C, W, MHz or pieces
	Use    string   `json:"use,omitempty"`  // the reading of a trial that it is taken for
	Limit  float64  `json:"limit,omitzero"` // critical temperature, °C
	Source string   `json:"source"`         // file
	Note   string   `json:"note,omitempty"` // why it is not used, or not read
	scale  float64  // to Unit
	q      sample.Quantity
	used   bool
}

// Sensors are the sensors of a PC, found once and read again and again. They
// are not safe for concurrent use.
type Sensors struct {
	machine  *Machine
	channels []Channel
	zones    []zone
	throttle []string
	base     float64 // throttle count at the first reading
	counting bool
}

// zone is a counter of energy.
type zone struct {
	file       string
	wrap       float64 // µJ at which it begins again
	last, when float64
	read       bool
}

// hwmonKinds are the files of the kernel's hardware monitoring, with the
// scale to our unit. Source: the kernel's sysfs interface of hwmon: millivolt,
// millidegree, microwatt.
var hwmonKinds = []struct {
	prefix, suffix, unit string
	scale                float64
	q                    sample.Quantity
}{
	{"in", "_input", "V", 1e-3, sample.Voltage},
	{"temp", "_input", "°C", 1e-3, sample.Temp},
	{"power", "_input", "W", 1e-6, sample.Power},
	{"power", "_average", "W", 1e-6, sample.Power},
}

// Sensors finds the sensors.
func (m *Machine) Sensors() *Sensors {
	s := &Sensors{machine: m}
	for _, chip := range m.glob("sys/class/hwmon/hwmon[0-9]*/name") {
		name, _ := m.text(chip)
		s.findChip(path.Dir(chip), printable(name))
	}
	s.choose()
	for _, f := range m.glob(cpus + "/cpu[0-9]*/cpufreq/scaling_cur_freq") {
		cpu := path.Base(path.Dir(path.Dir(f)))
		s.channels = append(s.channels, Channel{
			Name: cpu, Unit: "MHz", Use: sample.Clock.String(), Source: f, scale: 1e-3, q: sample.Clock, used: true,
		})
	}
	for _, f := range m.glob("sys/class/powercap/*/name") {
		name, _ := m.text(f)
		if strings.HasPrefix(name, "package") {
			s.findZone(path.Dir(f), printable(name))
		}
	}
	s.throttle = append(m.glob(cpus+"/cpu[0-9]*/thermal_throttle/core_throttle_count"),
		m.glob(cpus+"/cpu[0-9]*/thermal_throttle/package_throttle_count")...)
	return s
}

func (s *Sensors) findChip(dir, chip string) {
	for _, k := range hwmonKinds {
		for _, f := range s.machine.glob(dir + "/" + k.prefix + "[0-9]*" + k.suffix) {
			stem := strings.TrimSuffix(f, k.suffix)
			label, err := s.machine.text(stem + "_label")
			label = printable(label)
			c := Channel{Name: chip + " " + label, Unit: k.unit, Source: f, scale: k.scale, q: k.q}
			if err != nil || label == "" {
				c.Name = chip + " " + path.Base(stem)
				c.Note = "It has no label, so it is not used."
			} else if q, score := sample.Guess(label, k.unit); score > 1 && q == k.q {
				c.Use, c.used = q.String(), true
			}
			if crit, err := s.machine.number(stem + "_crit"); err == nil && k.unit == "°C" {
				c.Limit = crit / 1000
			}
			s.channels = append(s.channels, c)
		}
	}
}

// choose keeps one voltage, and of two names for the same temperature the one
// without an offset: a control temperature may be shifted for the fans.
func (s *Sensors) choose() {
	has := func(word string) bool {
		for _, c := range s.channels {
			if c.used && strings.HasSuffix(strings.ToLower(c.Name), " "+word) {
				return true
			}
		}
		return false
	}
	voltage := false
	for i := range s.channels {
		c := &s.channels[i]
		switch {
		case !c.used:
		case c.q == sample.Voltage && voltage:
			c.used, c.Use, c.Note = false, "", "Another core voltage came first."
		case c.q == sample.Voltage:
			voltage = true
		case strings.HasSuffix(strings.ToLower(c.Name), " tctl") && has("tdie"):
			c.used, c.Use, c.Note = false, "", "The die temperature is read instead."
		}
	}
}

func (s *Sensors) findZone(dir, name string) {
	file := dir + "/energy_uj"
	c := Channel{Name: name, Unit: "W", Use: sample.Power.String(), Source: file}
	if _, err := s.machine.number(file); err != nil {
		c.Use, c.Note = "", "Energy: "+lowerFirst(why(err))
		s.channels = append(s.channels, c)
		return
	}
	wrap, _ := s.machine.number(dir + "/max_energy_range_uj")
	s.zones = append(s.zones, zone{file: file, wrap: wrap})
	c.Note = "Power is the energy that is used between two readings."
	s.channels = append(s.channels, c)
}

// Channels returns all sensors with what they say now.
func (s *Sensors) Channels() []Channel {
	out := make([]Channel, len(s.channels))
	copy(out, s.channels)
	for i := range out {
		if out[i].scale == 0 {
			continue
		}
		if x, err := s.machine.number(out[i].Source); err == nil {
			v := math.Round(x*out[i].scale*1e4) / 1e4
			out[i].Value = &v
		} else if out[i].Note == "" {
			out[i].Note = why(err)
		}
	}
	return out
}

// Any reports whether there is any sensor that a trial can use.
func (s *Sensors) Any() bool {
	for _, c := range s.channels {
		if c.used {
			return true
		}
	}
	return len(s.zones) > 0
}

// Read reads all used sensors at the moment at, in seconds on a clock that
// runs evenly. The power is the mean since the reading before, so that the
// first one has none. Throttle is the count since the first reading.
func (s *Sensors) Read(at float64) sample.Values {
	v := sample.None()
	var read [6][]float64
	for _, c := range s.channels {
		if !c.used {
			continue
		}
		if x, err := s.machine.number(c.Source); err == nil {
			read[c.q] = append(read[c.q], x*c.scale)
		}
	}
	for _, q := range sample.Quantities {
		v[q] = sample.Combine(q, read[q])
	}
	if w, ok := s.power(at); ok {
		v[sample.Power] = w
	}
	if n, ok := s.throttled(); ok {
		v[sample.Throttle] = n
	}
	return v
}

// power adds up the packages' mean power since the reading before.
func (s *Sensors) power(at float64) (float64, bool) {
	total, ok := 0.0, false
	for i := range s.zones {
		z := &s.zones[i]
		uj, err := s.machine.number(z.file)
		if err != nil {
			continue
		}
		used := uj - z.last
		if used < 0 {
			used += z.wrap
		}
		if z.read && at > z.when && used >= 0 {
			total, ok = total+used/1e6/(at-z.when), true
		}
		z.last, z.when, z.read = uj, at, true
	}
	return total, ok
}

func (s *Sensors) throttled() (float64, bool) {
	total, found := 0.0, false
	for _, f := range s.throttle {
		if x, err := s.machine.number(f); err == nil {
			total, found = total+x, true
		}
	}
	if !found {
		return 0, false
	}
	if !s.counting {
		s.base, s.counting = total, true
	}
	return max(total-s.base, 0), true
}
