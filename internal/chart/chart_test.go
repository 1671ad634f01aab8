package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/web"
)

func ptr(x float64) *float64 { return &x }

// example is an invented session with every kind of outcome.
func example() Data {
	d := Data{Ceiling: 1.35, TempLimit: 95, PowerLim: 300, Stock: 47, Stages: []session.StageView{
		{ID: "baseline", Title: "Measure as delivered"}, {ID: "core", Title: "Core ratio & voltage"}, {ID: "cache", Title: "Cache ratio"},
	}}
	add := func(stage string, load trial.Load, ratio int, v, temp, power float64, o trial.Outcome, minutes float64) {
		n := len(d.Trials) + 1
		d.Trials = append(d.Trials, Trial{trial.Trial{
			N: n, Stage: stage, Load: load, Settings: trial.Settings{Ratio: units.Ratio(ratio)}, PlannedMinutes: 10, Minutes: units.Minutes(minutes), Outcome: o,
			Readings: trial.Readings{LoadVoltage: units.Volt(v), CoreTemp: units.Celsius(temp), PackagePower: units.Watt(power)},
		}, time.Date(2026, 3, 4, 19, n, 0, 0, time.UTC)})
	}
	add("baseline", trial.Scalar, 0, 1.121, 66, 151, trial.Clean, 10)
	add("core", trial.Scalar, 49, 1.182, 74, 190, trial.Clean, 10)
	add("core", trial.Scalar, 50, 1.201, 0, 0, trial.Froze, 3)
	add("core", trial.Scalar, 50, 1.226, 83, 222, trial.Clean, 30)
	add("core", trial.WideVector, 50, 1.215, 96, 262, trial.TooHot, 5)
	for i, mid := range []float64{1.168, 1.204, 1.246} {
		d.Evidence.Need = append(d.Evidence.Need, session.NeedAt{Load: trial.Scalar, Ratio: 49 + i, Target: session.Band{Q05: mid - 0.012, Q50: mid, Q95: mid + 0.015}})
	}
	d.Evidence.Keep = &session.KeepEvidence{Settings: trial.Settings{Ratio: 50}, Load: trial.Scalar, ReserveMV: ptr(18)}
	d.Evidence.Gains = &session.Gains{
		OverStock:    &session.Gain{Ratio: 1.172, Ratio95: [2]float64{1.165, 1.179}, Verdict: "faster"},
		OverUncapped: &session.Gain{Ratio: 1.004, Ratio95: [2]float64{0.998, 1.011}, Verdict: "no measurable difference"},
	}
	return d
}

// texts returns the text of every element of this name; it fails on anything
// that is not well-formed XML.
func texts(t *testing.T, svg, name string) []string {
	t.Helper()
	var out []string
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err, svg)
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == name {
			var s string
			require.NoError(t, d.DecodeElement(&s, &e))
			out = append(out, s)
		}
	}
}

var class = regexp.MustCompile(`class="([sf]-[a-z]+)"`)

// Every chart is well-formed, has its words, follows the theme by classes that
// the style knows, and carries nothing that a content policy drops.
func TestEveryChart(t *testing.T) {
	style := web.Join("chart/chart.css")
	for _, d := range []Data{example(), {}} {
		for i, c := range All(d) {
			require.Equal(t, Names[i], c.Name)
			svg := string(c.SVG())
			require.Equal(t, []string{c.Says}, texts(t, svg, "desc"))
			require.Equal(t, c.Title, texts(t, svg, "title")[0])
			require.NotContains(t, svg, "style=")
			require.NotContains(t, svg, "NaN")
			require.NotContains(t, svg, "Inf")
			require.NotRegexp(t, regexp.MustCompile(`(fill|stroke)="#`), svg)
			require.Equal(t, []string{Style()}, texts(t, svg, "style"))
			require.Empty(t, texts(t, c.Inline(), "style"))
			for _, m := range class.FindAllStringSubmatch(svg, -1) {
				require.Contains(t, style, "."+m[1])
			}
			require.Equal(t, svg, string(All(d)[i].SVG()), "the same data gives the same bytes")
			for _, row := range c.Table.Rows {
				require.Len(t, row, len(c.Table.Head))
			}
		}
	}
	for _, c := range All(Data{}) {
		require.True(t, c.Empty, c.Name)
		require.NotEmpty(t, c.Says)
	}
}

func TestNamed(t *testing.T) {
	c, err := Named("heat", example())
	require.NoError(t, err)
	require.Equal(t, "heat", c.Name)
	_, err = Named("dial", example())
	require.Equal(t, fault.NotFound, fault.CodeOf(err))
}

// circle finds where a filled circle begins: its rightmost point.
var circle = regexp.MustCompile(`<title>Trial (\d+):[^<]*</title><path class="f-clean" d="M([\d.]+) ([\d.]+)[LA]`)

// A higher voltage stands higher, a higher ratio further right, and each
// trial that the chart is about is named.
func TestNeedPlaces(t *testing.T) {
	c := need(example())
	at := map[string][2]float64{}
	for _, m := range circle.FindAllStringSubmatch(c.Inline(), -1) {
		x, _ := strconv.ParseFloat(m[2], 64)
		y, _ := strconv.ParseFloat(m[3], 64)
		at[m[1]] = [2]float64{x, y}
	}
	require.Len(t, at, 3, "trials 1, 2 and 4 ran clean")
	require.Greater(t, at["4"][0], at["2"][0])
	require.Less(t, at["4"][1], at["2"][1])
	// One step of ratio is as wide as the next: 47 to 49 is twice 49 to 50.
	require.InDelta(t, 2*(at["4"][0]-at["2"][0]), at["2"][0]-at["1"][0], 0.3)
	names := strings.Join(texts(t, c.Inline(), "title"), "\n")
	require.Contains(t, names, "Trial 3: all-core load, froze at 1.201\u00a0V, 3\u00a0min")
	require.Contains(t, names, "The keep: ratio 50 at about 1.222\u00a0V under load")
	require.NotContains(t, names, "Trial 5", "a wide-vector trial is not about this curve")
	require.Equal(t, "For the target, ratio 49 needs about 1.168\u00a0V under load. Ratio 51 needs about 1.246\u00a0V. "+
		"The keep is ratio 50 at about 1.222\u00a0V. The ceiling is 1.350\u00a0V. Trials shown: 3 clean, 1 failed, 0 hot.", c.Says)
}

func TestHeatSays(t *testing.T) {
	c := heat(example())
	require.Equal(t, "Between 1.121 and 1.226\u00a0V under load the hottest core was 66 to 96\u00a0°C; the limit is 95\u00a0°C. "+
		"Between 1.121 and 1.226\u00a0V under load the package power was 151 to 262\u00a0W; the limit is 300\u00a0W.", c.Says)
	require.Len(t, c.Table.Rows, 4, "a freeze leaves no readings")
	require.Equal(t, 2, strings.Count(c.Inline(), ">limit "), "both limits are drawn")
}

func TestGainSays(t *testing.T) {
	c := gains(example())
	require.Contains(t, c.Says, "Against the PC as delivered the score changed by about +17.2\u00a0%, with 95\u00a0% confidence by +16.5\u00a0% to +17.9\u00a0%.")
	require.Contains(t, c.Says, "so no difference is measurable.")
	d := example()
	d.Evidence.Gains.OverUncapped = nil
	require.Equal(t, []string{"the PC with the power cap lifted", "not enough evidence yet", "", ""}, gains(d).Table.Rows[1])
}

func TestTimelineSays(t *testing.T) {
	c := timeline(example())
	require.Equal(t, "5 trials in 2 stages, 58\u00a0min under load. The PC went down once.", c.Says)
	require.Contains(t, c.Inline(), "Core ratio &amp; voltage")
	require.NotContains(t, c.Inline(), "Cache ratio", "a stage without trials has no row")
	require.Equal(t, []string{"3", "4 Mar 2026, 19:03", "Core ratio & voltage", "all-core load", "froze", "3\u00a0min"}, c.Table.Rows[2])
}

// A freeze leaves no reading. It stands where its set voltage puts it.
func TestNeedOfAFreeze(t *testing.T) {
	d := example()
	for i := range d.Trials {
		d.Trials[i].Settings.VoltageMode = "static"
		if v := d.Trials[i].Readings.LoadVoltage; i > 0 && v > 0 {
			d.Trials[i].Settings.SetVoltage = v + 0.03
		}
	}
	d.Trials[2].Readings.LoadVoltage = 0
	names := strings.Join(texts(t, need(d).Inline(), "title"), "\n")
	require.Contains(t, names, "Trial 3: all-core load, froze, 3\u00a0min, load voltage estimated at 1.201\u00a0V")
	require.Contains(t, need(d).Says, "1 failed")
}

// Odd evidence is drawn or left out, never a broken picture.
func TestOddData(t *testing.T) {
	d := example()
	d.Trials = d.Trials[:1]
	d.Evidence.Need = d.Evidence.Need[:1]
	d.Ceiling, d.TempLimit, d.PowerLim, d.Evidence.Keep = 0, 0, 0, nil
	d.Evidence.Gains.OverStock.Ratio95 = [2]float64{0, 2}
	d.Trials[0].Minutes = 0
	for _, c := range All(d) {
		require.NotEmpty(t, texts(t, c.Inline(), "title"))
		require.NotRegexp(t, `NaN|Inf`, c.Inline())
	}
	many := example()
	for n := range 400 {
		x := many.Trials[n%5]
		x.N = n + 6
		many.Trials = append(many.Trials, x)
	}
	for _, c := range All(many) {
		require.Less(t, len(c.Inline()), 400<<10, fmt.Sprint(c.Name))
	}
}
