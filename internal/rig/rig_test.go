package rig_test

import (
	"context"
	"encoding/json"
	"math"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/rig"
	"belay/internal/rig/rigtest"
	"belay/internal/sample"
)

func read(t *testing.T, name string) rig.Report {
	t.Helper()
	return rig.Over(rigtest.Load(name)).Read()
}

// facts returns the values that were read, by name.
func facts(r rig.Report) map[string]any {
	out := map[string]any{}
	for _, f := range r.Facts() {
		if f.Value != nil {
			out[f.Name] = f.Value
		}
	}
	return out
}

// want is what each invented PC must read as. A nil value must be missing.
var want = map[string]map[string]any{
	"amber": {
		"processor": "Amber 8 Desktop Processor", "core_count": 8.0, "thread_count": 16.0,
		"caches":             []string{"8 × L1 data 48 KiB", "8 × L2 512 KiB", "1 × L3 16384 KiB"},
		"base_frequency_mhz": 3600.0, "max_frequency_mhz": 5000.0, "base_clock_mhz": 100.0,
		"vector_extensions": []string{"sse2", "sse4_2", "avx", "avx2", "fma"}, "vector_width": 256.0,
		"board": "Orchard Bench One", "firmware_version": "F12", "firmware_date": "03/14/2025",
		"memory_standard": "ddr4", "memory_modules": 2.0, "memory_gb": 32.0, "kit_rate_mts": 3600.0, "data_rate_mts": 3600.0,
		"memory_total_gb": 31.3, "sustained_limit_w": 125.0, "short_limit_w": 200.0, "rated_power_w": 125.0,
		"core_throttle_count": 0.0, "package_throttle_count": 0.0, "machine_check_count": 0.0, "memory_corrected_count": nil,
		"boot_id": "6b1f3c1e-0a55-4f0e-9d1c-1de5b00711aa", "uptime_s": 4521.35, "virtual": nil,
	},
	"birch": {
		"core_count": 16.0, "thread_count": 24.0, "core_kinds": []string{"8 of kind cpu_core", "8 of kind cpu_atom"},
		"base_frequency_mhz": 3400.0, "max_frequency_mhz": 5600.0, "core_throttle_count": 48.0, "package_throttle_count": 5.0,
		"memory_standard": "ddr5", "kit_rate_mts": 6000.0, "data_rate_mts": 4800.0, "memory_gb": 64.0, "caches": nil,
	},
	"cedar": {
		"core_count": 12.0, "vector_width": 512.0, "base_frequency_mhz": 4700.0, "max_frequency_mhz": 5450.0,
		"memory_corrected_count": 3.0, "memory_uncorrected_count": 0.0, "machine_check_count": 1.0, "sustained_limit_w": nil,
		"core_throttle_count": nil,
	},
	"dune":   {"core_count": 4.0, "max_frequency_mhz": nil, "memory_gb": 16.0, "firmware_version": "P3.10", "base_clock_mhz": 100.0, "sustained_limit_w": nil},
	"ember":  {"core_count": 2.0, "virtual": "a virtual machine", "firmware_version": nil, "memory_modules": nil, "base_clock_mhz": nil},
	"fjord":  {"core_count": 6.0, "memory_modules": 4.0, "memory_gb": 104.0, "kit_rate_mts": 5600.0, "data_rate_mts": 5200.0, "sustained_limit_w": nil},
	"garnet": {"core_count": 6.0, "vector_width": 128.0, "firmware_version": nil, "sustained_limit_w": 65.0, "memory_modules": nil},
	"hazel":  {"core_count": 8.0, "thread_count": 8.0, "kit_rate_mts": 2133.0, "data_rate_mts": 3733.0},
}

func TestInventedPCs(t *testing.T) {
	require.GreaterOrEqual(t, len(rigtest.Names()), 6)
	for _, name := range rigtest.Names() {
		t.Run(name, func(t *testing.T) {
			require.NotEmpty(t, want[name], "a tree without expectations proves nothing")
			r := read(t, name)
			got := facts(r)
			for fact, value := range want[name] {
				require.Equal(t, value, got[fact], fact)
			}
			for _, f := range r.Facts() {
				if f.Value != nil {
					require.NotEmpty(t, f.Source, "%s has no source", f.Name)
				} else {
					require.NotEmpty(t, f.Missing, "%s does not say why it is missing", f.Name)
				}
			}
			for _, c := range r.Sensors {
				require.True(t, c.Value != nil || c.Note != "" || c.Use != "", "%s says nothing", c.Name)
			}
			_, err := json.Marshal(r)
			require.NoError(t, err)
		})
	}
}

func TestVerdicts(t *testing.T) {
	for _, x := range []struct{ name, capped, profile string }{
		{"amber", rig.Yes, rig.Yes},
		{"birch", rig.No, rig.No},           // 4095 W; 4800 of 6000 MT/s
		{"cedar", rig.Unknown, rig.Unknown}, // no zones; nothing above the standard
		{"dune", rig.No, rig.Unknown},       // switched off
		{"ember", rig.Unknown, rig.Unknown},
		{"fjord", rig.Unknown, rig.No}, // the limit may not be read
		{"garnet", rig.Yes, rig.Unknown},
		{"hazel", rig.Unknown, rig.Yes}, // above the standard, whatever the table calls rated
	} {
		r := read(t, x.name)
		require.Equal(t, x.capped, r.Cap.Answer, "%s: %s", x.name, r.Cap.Because)
		require.Equal(t, x.profile, r.Profile.Answer, "%s: %s", x.name, r.Profile.Because)
		require.NotEmpty(t, r.Cap.Because)
		require.NotEmpty(t, r.Profile.Because)
		if r.Cap.Answer == rig.Unknown {
			require.NotEmpty(t, r.Cap.ByHand)
		}
	}
	held := rig.CapAfter(rig.Verdict{Answer: rig.Yes}, sample.Reduced{ClockState: sample.Held})
	require.Equal(t, rig.No, held.Answer)
	slowed := rig.CapAfter(rig.Verdict{Answer: rig.Unknown}, sample.Reduced{ClockState: sample.Slowed, AtCap: true})
	require.Equal(t, rig.Yes, slowed.Answer)
}

// used returns the sensors that a trial would use, by name.
func used(r rig.Report) map[string]string {
	out := map[string]string{}
	for _, c := range r.Sensors {
		if c.Use != "" {
			out[c.Name] = c.Use
		}
	}
	return out
}

func TestSensorsAreChosenByTheirLabels(t *testing.T) {
	amber := used(read(t, "amber"))
	require.Equal(t, "load_voltage_v", amber["superio Vcore"])
	require.Equal(t, "core_temp_c", amber["coretemp Package id 0"])
	require.Equal(t, "package_power_w", amber["package-0"])
	require.NotContains(t, amber, "superio SYSTIN")
	require.NotContains(t, amber, "superio +12V")
	cedar := used(read(t, "cedar"))
	require.Contains(t, cedar, "dietemp Tdie")
	require.NotContains(t, cedar, "dietemp Tctl", "a control temperature can be shifted")
	require.Equal(t, "load_voltage_v", cedar["svi SVI Core Voltage"])
	require.NotContains(t, cedar, "svi SVI SoC Voltage")
	for name, use := range used(read(t, "garnet")) {
		require.NotEqual(t, "load_voltage_v", use, "%s has no label", name)
	}
	for _, c := range read(t, "fjord").Sensors {
		if c.Name == "package-0" {
			require.Contains(t, c.Note, "administrator")
		}
	}
}

func TestReadings(t *testing.T) {
	tree := rigtest.Load("amber")
	s := rig.Over(tree).Sensors()
	require.True(t, s.Any())
	v := s.Read(0)
	require.InDelta(t, 1.212, v[sample.Voltage], 1e-9)
	require.InDelta(t, 61, v[sample.Temp], 1e-9)
	require.InDelta(t, 4700, v[sample.Clock], 1e-9)
	require.True(t, math.IsNaN(v[sample.Power]), "the first reading has no power yet")
	require.Zero(t, v[sample.Throttle])

	// 2 s later the counter has gone round: 143328850 µJ to its end, and
	// 156671150 µJ more, are 300 J, or 150 W.
	const zone = "sys/devices/virtual/powercap/zone/zone:0/energy_uj"
	tree.MapFS[zone].Data = []byte("156671150\n")
	tree.MapFS["sys/devices/system/cpu/cpu3/thermal_throttle/core_throttle_count"].Data = []byte("4\n")
	v = s.Read(2)
	require.InDelta(t, 150, v[sample.Power], 1e-6)
	require.InDelta(t, 4, v[sample.Throttle], 1e-9)

	hazel := rigtest.Load("hazel")
	two := rig.Over(hazel).Sensors()
	two.Read(0)
	hazel.MapFS["sys/class/powercap/zone:0/energy_uj"].Data = []byte("1500000\n")
	hazel.MapFS["sys/class/powercap/zone:1/energy_uj"].Data = []byte("1250000\n")
	require.InDelta(t, 0.75, two.Read(1)[sample.Power], 1e-9, "both packages, and no other zone")
	require.False(t, rig.Over(rigtest.Load("ember")).Sensors().Any())
}

func TestWatchReadsAtEachTick(t *testing.T) {
	s := rig.Over(rigtest.Load("amber")).Sensors()
	ticks := make(chan time.Time, 10)
	for i := range 10 {
		ticks <- time.Unix(100, 0).Add(time.Duration(i) * rig.Rate)
	}
	close(ticks)
	var series sample.Series
	require.NoError(t, s.Watch(context.Background(), ticks, series.Add))
	require.Len(t, series.Samples(), 10)
	r := series.Reduce(sample.Want{Clock: 4700})
	require.InDelta(t, 1.212, float64(r.LoadVoltage), 1e-9)
	require.Equal(t, sample.Held, r.ClockState)

	stopped, cancel := context.WithCancel(context.Background())
	cancel()
	require.NoError(t, s.Watch(stopped, nil, series.Add))
	full := fault.New(fault.Limit, "full", "next")
	again := make(chan time.Time, 1)
	again <- time.Unix(0, 0)
	require.ErrorIs(t, s.Watch(context.Background(), again, func(float64, sample.Values) error { return full }), full)
}

func TestOffer(t *testing.T) {
	values, sources := read(t, "amber").Offer()
	require.Equal(t, map[string]any{
		"core_count": 8.0, "base_clock_mhz": 100.0, "temp_limit_c": 100.0, "stock_sustained_limit_w": 125.0, "firmware_version": "F12",
		"memory_standard": "ddr4", "memory_modules": 2.0, "memory_gb": 32.0, "kit_rate_mts": 3600.0,
	}, map[string]any(values))
	for name := range values {
		require.NotEmpty(t, sources[name], name)
	}
	birch, _ := read(t, "birch").Offer()
	require.NotContains(t, birch, "stock_sustained_limit_w", "4095 W is no limit")
	ember, _ := read(t, "ember").Offer()
	require.Equal(t, map[string]any{"core_count": 2.0}, map[string]any(ember))
}

func TestAFolderServesAsWellAsThisPC(t *testing.T) {
	dir := t.TempDir()
	tree := rigtest.Load("amber")
	require.NoError(t, tree.Write(dir))
	m, err := rig.At(dir)
	require.NoError(t, err)
	require.Equal(t, read(t, "amber"), m.Read())
	_, err = rig.At(dir + "/nothing")
	require.True(t, fault.Is(err, fault.NotFound))
	here, err := rig.Here()
	require.NoError(t, err)
	require.NotEmpty(t, here.Read().Facts(), "whatever this machine is")
}

// FuzzTables feeds damaged tables: none may stop the program.
func FuzzTables(f *testing.F) {
	for _, name := range []string{"amber", "dune", "fjord", "garnet"} {
		f.Add([]byte(rigtest.Load(name).MapFS["sys/firmware/dmi/tables/DMI"].Data))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		tree := fstest.MapFS{
			"sys/firmware/dmi/tables/DMI":                {Data: body},
			"sys/firmware/dmi/tables/smbios_entry_point": {Data: []byte("_SM3_")},
		}
		for _, m := range rig.Over(tree).Read().Modules {
			require.GreaterOrEqual(t, m.SizeGB, 0.0)
		}
	})
}
