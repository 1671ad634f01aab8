package memtiming

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func reference(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, into))
}

type row struct {
	Rate, CL, FAW int
	TCK           int `json:"tck_ps"`
	TAA, TWR      int
	TRAS          int
	RRDL          int `json:"rrd_l"`
	NS            float64
	TRC           float64 `json:"trc_ns"`
	GBs           float64 `json:"gb_s"`
}

func TestClocksReference(t *testing.T) {
	var ref struct {
		DDR4, DDR5, Bins, Bandwidth, Latency, Windows []row

		NS4 struct{ TAA, TWR, TRAS float64 } `json:"ddr4_ns"`
		NS5 struct{ TWR float64 }            `json:"ddr5_ns"`
		CAS struct {
			NS               float64
			Rate, Clocks, CL int
		} `json:"ddr5_cas"`
	}
	reference(t, "memory-clocks.json", &ref)
	n := func(std Standard, ns float64, rate int) int {
		c, err := Clocks(std, ns, rate)
		require.NoError(t, err)
		return c
	}
	// Source: JEDEC 21-C annex L and JESD79-4; write recovery as in published presets.
	for _, r := range ref.DDR4 {
		tck, err := Cycle(DDR4, r.Rate)
		require.NoError(t, err)
		require.Equal(t, r.TCK, tck)
		require.Equal(t, r.TAA, n(DDR4, ref.NS4.TAA, r.Rate), r.Rate)
		require.Equal(t, r.TWR, n(DDR4, ref.NS4.TWR, r.Rate), r.Rate)
		require.Equal(t, r.TRAS, n(DDR4, ref.NS4.TRAS, r.Rate), r.Rate)
	}
	// Source: JESD79-5; presets at 3200, 4800, 5600 and 6400 agree.
	for _, r := range ref.DDR5 {
		tck, err := Cycle(DDR5, r.Rate)
		require.NoError(t, err)
		require.Equal(t, r.TCK, tck)
		require.Equal(t, r.TWR, n(DDR5, ref.NS5.TWR, r.Rate), r.Rate)
	}
	require.Equal(t, ref.CAS.Clocks, n(DDR5, ref.CAS.NS, ref.CAS.Rate))
	cl, err := CASFor(DDR5, ref.CAS.NS, ref.CAS.Rate)
	require.NoError(t, err)
	require.Equal(t, ref.CAS.CL, cl)
	// Source: JESD79-4 speed bins, two decimals, some rounded and some cut.
	const printed = 0.0081
	for _, r := range ref.Bins {
		tck, err := Cycle(DDR4, r.Rate)
		require.NoError(t, err)
		require.InDelta(t, r.NS, float64(r.CL*tck)/1000, printed)
		if r.TRC > 0 { // tRC = tRAS of 32 ns + tRP
			require.InDelta(t, r.TRC, ref.NS4.TRAS+float64(r.CL*tck)/1000, printed)
		}
	}
	for _, r := range ref.Bandwidth {
		require.InDelta(t, r.GBs, PeakBandwidth(r.Rate, 1), 1e-9)
		require.InDelta(t, 2*r.GBs, PeakBandwidth(r.Rate, 2), 1e-9)
	}
	for _, r := range ref.Latency {
		require.InDelta(t, r.NS, Nanoseconds(r.CL, r.Rate), 5e-5)
	}
	// Source: JESD79-4, chips 8 bits wide, as published presets.
	for _, r := range ref.Windows {
		d, err := Dependents(Settings{Standard: DDR4, Rate: r.Rate, CL: 20, TRAS: 40, TRP: 20}, 8, 0)
		require.NoError(t, err)
		require.Equal(t, r.FAW, d.FourActivates, r.Rate)
		require.Equal(t, r.RRDL, d.RowToRowLong, r.Rate)
		require.Equal(t, 4, d.RowToRowShort)
		require.Equal(t, 60, d.RowCycle)
	}
}

func TestRefreshReference(t *testing.T) {
	var ref struct {
		Tolerance float64
		Overhead  []struct {
			Standard    Standard
			Density     int
			Temp, Share float64
		}
		Clocks   struct{ Rate, Density, Refresh, Every int }
		Voltages map[Standard]struct {
			Nominal, Low, High float64
			AbsoluteMax        float64 `json:"absolute_max"`
		}
	}
	reference(t, "memory-refresh.json", &ref)
	// Source: JESD79-4 and JESD79-5, tRFC1 over tREFI.
	for _, o := range ref.Overhead {
		d, err := Dependents(Settings{Standard: o.Standard, Rate: 3200, CL: 22}, o.Density, o.Temp)
		require.NoError(t, err)
		require.InDelta(t, o.Share, d.RefreshShare, ref.Tolerance)
	}
	c := ref.Clocks
	d, err := Dependents(Settings{Standard: DDR4, Rate: c.Rate, CL: 22}, c.Density, 0)
	require.NoError(t, err)
	require.Equal(t, c.Refresh, d.Refresh)
	require.Equal(t, c.Every, d.RefreshEvery)
	for std, want := range ref.Voltages {
		v, err := VoltagesOf(std)
		require.NoError(t, err)
		require.InDelta(t, want.Nominal, float64(v.Nominal), 1e-9)
		require.InDelta(t, want.Low, float64(v.Low), 1e-9)
		require.InDelta(t, want.High, float64(v.High), 1e-9)
		require.InDelta(t, want.AbsoluteMax, float64(v.AbsoluteMax), 1e-9)
	}
	// The customary first step for DDR4. Common practice, no source.
	v, err := VoltagesOf(DDR4)
	require.NoError(t, err)
	require.InDelta(t, 1.45, float64(v.Customary), 1e-9)
}

func TestZeroErrorBound(t *testing.T) {
	// Source: zero-failure bound, NIST/SEMATECH e-Handbook 8.4.5.1: -ln 0.05 = 2.9957.
	c, err := CoverageOf(320e9, 32e9, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 10, c.Passes, 1e-12)
	require.InDelta(t, 0.29957, c.PerPass, 1e-5)
	require.InDelta(t, 1-math.Exp(-0.29957323), c.MissedChance, 1e-7)
	require.InDelta(t, c.PerPass, c.PerByte*32e9, 1e-12)
}
