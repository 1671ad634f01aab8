package units

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

func TestParse(t *testing.T) {
	cases := []struct {
		unit, text string
		want       float64
	}{
		{"V", "1.255", 1.255}, {"V", " 1.255 V ", 1.255}, {"V", "1,25", 1.25}, {"V", "1255 mV", 1.255}, {"V", "1255mv", 1.255},
		{"V", "0,125", 0.125}, {"mV", "1.25 V", 1250}, {"MHz", "4.9 GHz", 4900}, {"MHz", "4900", 4900},
		{"°C", "78", 78}, {"°C", "78 °C", 78}, {"°C", "172 F", 77.777777778}, {"°C", "-5", -5}, {"°C", "−5", -5},
		{"min", "7.5", 7.5}, {"min", "2 h", 120}, {"min", "30 s", 0.5}, {"×", "52x", 52}, {"MT/s", "3600 MT/s", 3600}, {"clk", "16", 16},
	}
	for _, c := range cases {
		t.Run(c.unit+" "+c.text, func(t *testing.T) {
			got, err := Parse(c.unit, c.text)
			require.NoError(t, err)
			require.InDelta(t, c.want, got, 1e-9)
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range [][2]string{
		{"V", ""}, {"V", "about 1.2"}, {"V", "1,250"}, {"V", "1.250,5"}, {"V", "1,2,3"}, {"V", "1.2.3"}, {"V", "1.2 W"}, {"V", "--1"},
		{"MHz", "4,900"}, {"°C", "hot"}, {"V", "1e999"},
	} {
		t.Run(c[1], func(t *testing.T) {
			_, err := Parse(c[0], c[1])
			require.True(t, fault.Is(err, fault.Invalid), "%v", err)
		})
	}
	_, err := Parse("parsec", "1")
	require.True(t, fault.Is(err, fault.Internal))
}

func TestFormat(t *testing.T) {
	for want, got := range map[string]string{
		"1.255 V": Volt(1.2549).String(), "4900 MHz": Megahertz(4900).String(), "125 W": Watt(124.6).String(), "78 °C": Celsius(77.7).String(),
		"52": Ratio(52).String(), "7 min 20 s": Minutes(7 + 1.0/3).String(), "45 s": Minutes(0.75).String(), "2 h 30 min": Minutes(150).String(),
		"2 h": Minutes(120).String(), "unknown": Format("V", math.NaN()), "52×": Format("×", 52), "1000.5": Format("points", 1000.5), "3": Format("pieces", 3),
	} {
		require.Equal(t, want, got)
	}
}

func TestWhatIsPrintedCanBeRead(t *testing.T) {
	for symbol := range known {
		got, err := Parse(symbol, Format(symbol, 12))
		require.NoError(t, err, symbol)
		require.InDelta(t, 12, got, 1e-9, symbol)
	}
}
