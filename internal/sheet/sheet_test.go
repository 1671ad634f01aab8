package sheet_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/sheet"
	"belay/internal/trial"
	"belay/internal/units"
)

var update = flag.Bool("update", false, "rewrite the golden files")

var formats = map[string]func(sheet.Data) ([]byte, error){
	"json": sheet.JSON, "md": sheet.Markdown, "csv": sheet.CSV, "html": sheet.HTML,
}

func ptr[T any](v T) *T { return &v }

// full is a finished session in which every setting was changed. All figures are invented.
func full() sheet.Data {
	s := trial.Settings{
		Ratio: 50, CacheRatio: 45, SetVoltage: 1.285, VoltageMode: "adaptive", Offset: -0.01, LoadLine: "Level 4",
		LowEndMV: 25, WideVectorOffset: 1, SustainedLimit: 280, ShortLimit: 300, MemoryProfile: "on",
		DataRate: 3800, CL: 16, TRCD: 19, TRP: 19, TRAS: 38, DRAMVoltage: 1.42,
	}
	static := s
	static.VoltageMode, static.LowEndMV, static.SetVoltage = "static", 0, 1.275
	low := s
	low.LowEndMV = 0
	run := func(n int, load trial.Load, at trial.Settings, o trial.Outcome, m units.Minutes) trial.Trial {
		return trial.Trial{N: n, Load: load, Settings: at, Outcome: o, Minutes: m, PlannedMinutes: 60}
	}
	return sheet.Data{
		Title: "Desk under the window", SessionID: "01JB0000000000000000000000", Finished: true,
		Made: time.Date(2025, 3, 9, 18, 30, 0, 0, time.UTC), Firmware: "F12c", AirTemp: 23.5,
		Machine:  trial.Machine{Cores: 10, StockRatio: 47, Cooler: "two-fan tower", Firmware: "F12c"},
		Settings: s,
		Stock:    trial.Settings{Ratio: 47, CacheRatio: 43, SustainedLimit: 125, ShortLimit: 250, MemoryProfile: "off", DataRate: 2666, CL: 19, TRCD: 19, TRP: 19, TRAS: 43, DRAMVoltage: 1.2},
		Evidence: session.Evidence{
			Keep:  &session.KeepEvidence{Settings: static, Load: trial.Scalar, TargetH: 500, Confidence: ptr(0.91), ReserveMV: ptr(15.0)},
			Heat:  &session.HeatFit{HottestC: 84, MostPowerW: 243},
			Gains: &session.Gains{OverStock: &session.Gain{Ratio: 1.182, Ratio95: [2]float64{1.171, 1.193}, Verdict: "faster"}, OverUncapped: &session.Gain{Ratio: 1.004, Ratio95: [2]float64{0.996, 1.012}, Verdict: "no measurable difference"}},
			Proof: session.Proof{Sentence: "Holds under all-core load: at 91 % confidence it fails less than once in 500 hours.", ModelFreeMTBFH: 1.1, CleanHours: 3.25},
			Need:  []session.NeedAt{{Load: trial.Scalar, Ratio: int(s.Ratio), Target: session.Band{Q05: 1.221, Q50: 1.235, Q95: 1.252}}},
			Now: session.Standing{
				Wear: &session.Wear{Low: 1.7, Mid: 3.1, High: 8.4}, Odd: []session.OddFailure{{Trial: 9, Chance: 0.72}},
			},
		},
		Cautions: []session.Caution{
			{ID: "core-voltage", Signal: "NOTICE", Hazard: "This step changes core settings.", Consequence: "Too high a core voltage wears the processor faster and can damage it for good.", Avoid: "Type the voltage digit by digit. Read it back before you save. Enter nothing above the value given here."},
			{ID: "mains", Signal: "WARNING", Hazard: "Parts inside the power supply hold mains voltage.", Consequence: "An electric shock can kill or injure you badly.", Avoid: "Shut down. Switch the supply off and unplug it. Wait one minute before you open the case."},
			{ID: "mains", Signal: "WARNING", Hazard: "Doubled."},
			{ID: "hot-cooler", Signal: "CAUTION", Hazard: "Metal parts stay hot after a load.", Consequence: "Bare metal at 60 °C burns skin within a few seconds.", Avoid: "Let the PC stand switched off for 15 minutes. Touch metal parts briefly with a fingertip first."},
			{ID: "memory-voltage", Signal: "NOTICE", Hazard: "This step enters memory settings.", Consequence: "Too high a memory voltage can damage the modules and the memory controller for good.", Avoid: "Read the memory voltage back before you save. Change no other voltage that a profile offers."},
			{ID: "lift-limit", Signal: "NOTICE", Hazard: "This step raises the sustained power limit.", Consequence: "Supply, cables and regulators carry more for as long as a load runs.", Avoid: "Use a supply and a socket that carry the load. Ask a qualified technician when in doubt."},
			{ID: "data-loss", Signal: "NOTICE", Hazard: "Crashes are part of this work.", Consequence: "Open files can be lost.", Avoid: "Keep a backup on a disk that is not connected."},
		},
		Trials: []trial.Trial{
			run(14, trial.Scalar, static, trial.Clean, 60), run(18, trial.Scalar, static, trial.Clean, 90),
			run(19, trial.WideVector, static, trial.Clean, 45), run(21, trial.Memory, s, trial.Clean, 180),
			run(22, trial.Bursty, low, trial.Froze, 12), run(23, trial.Bursty, s, trial.Clean, 60), run(24, trial.Scalar, s, trial.TooHot, 9),
		},
		Note: "Side panel closed, fans at their middle curve. " + strings.Repeat("The front filter was cleaned before the first trial. ", 6),
	}
}

// early is a practice session stopped after the baseline, with little known.
func early() sheet.Data {
	return sheet.Data{
		Title: "First look", SessionID: "01JB0000000000000000000001", Practice: true,
		Made: time.Date(2025, 3, 9, 18, 30, 0, 0, time.UTC), Settings: trial.Settings{SustainedLimit: 280},
	}
}

func TestGolden(t *testing.T) {
	for name, data := range map[string]sheet.Data{"full": full(), "early": early()} {
		for ext, make := range formats {
			t.Run(name+"."+ext, func(t *testing.T) {
				got, err := make(data)
				require.NoError(t, err)
				path := filepath.Join("testdata", name+"."+ext)
				if *update {
					require.NoError(t, os.WriteFile(path, got, 0o644))
				}
				want, err := os.ReadFile(path)
				require.NoError(t, err)
				require.Equal(t, string(want), string(got), "run the test with -update after a wanted change")
				again, err := make(data)
				require.NoError(t, err)
				require.Equal(t, got, again, "the same data gives the same bytes")
			})
		}
	}
}

func TestJSONKeys(t *testing.T) {
	b, err := sheet.JSON(early())
	require.NoError(t, err)
	var got map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(b, &got))
	var keys []string
	for k := range got {
		keys = append(keys, k)
	}
	require.ElementsMatch(t, []string{"settings", "proof", "conditions", "gains", "back_to_stock", "recheck", "cautions", "stock"}, keys)
	require.JSONEq(t, `{"sustained_limit_w": 280}`, string(got["settings"]))
	require.JSONEq(t, `{"over_stock": null, "over_uncapped": null}`, string(got["gains"]))
	require.JSONEq(t, `[]`, string(got["cautions"]))
	var stock map[string]any
	require.NoError(t, json.Unmarshal(got["stock"], &stock))
	require.Len(t, stock, len(trial.SettingNames()))
	require.Nil(t, stock["ratio"], "automatic is null")
}

// Every setting that exists has a row in every format, and shows its value.
func TestEverySetting(t *testing.T) {
	d := full()
	v := reflect.ValueOf(d.Settings)
	for i := range v.NumField() {
		require.False(t, v.Field(i).IsZero(), "the example must set %s", v.Type().Field(i).Name)
	}
	rows := csvRows(t, d)
	var names []string
	for _, r := range rows[1:] {
		names = append(names, r[0])
		require.NotEmpty(t, r[2], "%s has a value", r[0])
	}
	require.ElementsMatch(t, trial.SettingNames(), names)

	var got struct{ Settings, Stock trial.Settings }
	b, err := sheet.JSON(d)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &got))
	require.Equal(t, d.Settings, got.Settings, "settings survive the way through JSON")
	require.Equal(t, d.Stock, got.Stock)

	page, err := sheet.HTML(d)
	require.NoError(t, err)
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.Equal(t, len(names), bytes.Count(page, []byte(`<th scope="row">`)))
	for _, r := range rows[1:] {
		require.Contains(t, string(page), ">"+r[1]+"<")
		require.Contains(t, string(md), "| "+r[1]+" |")
	}
}

func csvRows(t *testing.T, d sheet.Data) [][]string {
	t.Helper()
	b, err := sheet.CSV(d)
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	require.NoError(t, err)
	return rows
}

func cell(t *testing.T, d sheet.Data, name string, column int) string {
	t.Helper()
	for _, r := range csvRows(t, d) {
		if r[0] == name {
			return r[column]
		}
	}
	t.Fatalf("no row %s", name)
	return ""
}

func TestA29CSVNeutral(t *testing.T) {
	for _, start := range []string{"=", "+", "-", "@", "\t", "\r", "\n", "\x00"} {
		d := full()
		d.Settings.LoadLine = start + "1+1"
		d.Stock.LoadLine = start + "2"
		require.True(t, strings.HasPrefix(cell(t, d, "load_line", 2), "'"), "%q", start)
		require.True(t, strings.HasPrefix(cell(t, d, "load_line", 5), "'"), "%q", start)
	}
	d := full()
	d.Settings.Offset = -0.05
	require.Equal(t, "-0.050", cell(t, d, "offset_v", 2), "a number of the program stays a number")
	require.Equal(t, "Level 4", cell(t, d, "load_line", 2))
}

func TestHTMLEscapes(t *testing.T) {
	const bad = `</style><script>alert(1)</script><img src=x onerror="x">`
	d := full()
	d.Title, d.Note, d.SessionID, d.Firmware = bad, bad, bad, bad
	d.Settings.LoadLine, d.Machine.Cooler, d.Evidence.Proof.Sentence = bad, bad, bad
	d.Cautions = []session.Caution{{ID: bad, Signal: bad, Hazard: bad, Avoid: bad}}
	page, err := sheet.HTML(d)
	require.NoError(t, err)
	require.NotContains(t, string(page), "<script")
	require.NotContains(t, string(page), "<img")
	require.Equal(t, 1, bytes.Count(page, []byte("</style>")))
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.NotContains(t, string(md), "<script")
}

func TestMarkdownPlain(t *testing.T) {
	d := full()
	d.Settings.LoadLine = "a | b\n# c"
	d.Note = "# big\n- one [x](y)"
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.Contains(t, string(md), `| **a \| b # c** |`)
	require.Contains(t, string(md), "\n"+`\# big - one \[x\](y)`+"\n")
}

var outside = regexp.MustCompile(`(?i)<(script|link|img|iframe|object|embed|a |base|form)|https?:|url\(|@import|src=|href=|style="|\son[a-z]+=`)

func TestSelfContained(t *testing.T) {
	page, err := sheet.HTML(full())
	require.NoError(t, err)
	bare := strings.ReplaceAll(string(page), `xmlns="http://www.w3.org/2000/svg"`, "")
	require.Empty(t, outside.FindAllString(bare, -1))
	m := regexp.MustCompile(`(?s)<style>(.*)</style>`).FindSubmatch(page)
	require.NotNil(t, m)
	require.Equal(t, sheet.Style(), string(m[1]))
}

func TestBanner(t *testing.T) {
	for ext, make := range formats {
		d := full()
		b, err := make(d)
		require.NoError(t, err)
		require.NotContains(t, string(b), sheet.PracticeBanner, ext)
		require.NotContains(t, string(b), "Draft", ext)
		d.Practice, d.Finished = true, false
		b, err = make(d)
		require.NoError(t, err)
		require.Contains(t, string(b), sheet.PracticeBanner, ext)
		require.Contains(t, string(b), "Draft", ext)
	}
}

func TestEvidence(t *testing.T) {
	s := trial.Settings{Ratio: 50, SetVoltage: 1.25, VoltageMode: "static", LoadLine: "4", SustainedLimit: 250}
	change := func(f func(*trial.Trial)) trial.Trial {
		x := trial.Trial{N: 7, Load: trial.Scalar, Settings: s, Outcome: trial.Clean, Minutes: 30}
		f(&x)
		return x
	}
	const none = "not proven by a trial"
	for _, c := range []struct {
		name string
		t    trial.Trial
		want string
	}{
		{"same", change(func(*trial.Trial) {}), "clean: all-core load 30 min (trial 7)"},
		{"more voltage", change(func(x *trial.Trial) { x.Settings.SetVoltage = 1.26 }), none},
		{"less voltage", change(func(x *trial.Trial) { x.Settings.SetVoltage = 1.24 }), "clean at harder settings: all-core load 30 min (trial 7)"},
		{"higher ratio", change(func(x *trial.Trial) { x.Settings.Ratio = 51 }), "clean at harder settings: all-core load 30 min (trial 7)"},
		{"lower ratio", change(func(x *trial.Trial) { x.Settings.Ratio = 49 }), none},
		{"other load line", change(func(x *trial.Trial) { x.Settings.LoadLine = "5" }), none},
		{"held down by a limit", change(func(x *trial.Trial) { x.Settings.SustainedLimit = 125 }), none},
		{"another mode", change(func(x *trial.Trial) { x.Settings.VoltageMode = "adaptive" }), none},
		{"slower under wide vectors", change(func(x *trial.Trial) { x.Load, x.Settings.WideVectorOffset = trial.WideVector, 2 }), none},
		{"other memory", change(func(x *trial.Trial) { x.Settings.DataRate = 3600 }), "clean: all-core load 30 min (trial 7)"},
		{"memory check", change(func(x *trial.Trial) { x.Load = trial.Memory }), none},
		{"stopped", change(func(x *trial.Trial) { x.Outcome = trial.Stopped }), none},
		{"failed", change(func(x *trial.Trial) { x.Outcome = trial.Froze }), none + "; not clean: trial 7 (all-core load, froze)"},
		{"too hot", change(func(x *trial.Trial) { x.Outcome = trial.TooHot }), none + "; not clean: trial 7 (all-core load, too hot)"},
		{"failed with less voltage", change(func(x *trial.Trial) { x.Outcome, x.Settings.SetVoltage = trial.Froze, 1.24 }), none},
		{"mixed failure with other memory", change(func(x *trial.Trial) {
			x.Outcome, x.Load, x.Settings.DataRate = trial.Error, trial.Mixed, 3600
		}), none},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, cell(t, sheet.Data{Settings: s, Trials: []trial.Trial{c.t}}, "ratio", 6))
		})
	}
}

func TestPowerEvidence(t *testing.T) {
	s := trial.Settings{Ratio: 50, SetVoltage: 1.25, VoltageMode: "static", SustainedLimit: 250}
	x := trial.Trial{N: 7, Load: trial.Scalar, Settings: s, Outcome: trial.Clean, Minutes: 30}
	x.Settings.Ratio = 51
	d := sheet.Data{Settings: s, Trials: []trial.Trial{x}}
	require.Contains(t, cell(t, d, "sustained_limit_w", 6), "clean at harder settings")
	d.Trials[0].Settings.SustainedLimit = 300
	require.Equal(t, "not proven by a trial", cell(t, d, "sustained_limit_w", 6), "another limit was in force")
}

func TestManyTrials(t *testing.T) {
	s := trial.Settings{DataRate: 3600}
	var trials []trial.Trial
	for n := range 6 {
		trials = append(trials, trial.Trial{N: n + 1, Load: trial.Memory, Settings: s, Outcome: trial.Clean, Minutes: 30})
	}
	require.Equal(t, "clean: memory check 3 h (trials 1, 2, 3, 4 and 2 more)", cell(t, sheet.Data{Settings: s, Trials: trials}, "data_rate_mts", 6))
}

func TestOffsetMode(t *testing.T) {
	d := sheet.Data{Settings: trial.Settings{VoltageMode: "offset", SetVoltage: 1.25}}
	require.Equal(t, "0.000", cell(t, d, "offset_v", 2), "an offset of 0 V is entered too")
	require.Equal(t, "as delivered", cell(t, d, "set_voltage_v", 2), "the set voltage of a static trial is not")
}

func TestGainsNotMeasured(t *testing.T) {
	d := full()
	d.Evidence.Gains = &session.Gains{OverStock: &session.Gain{Ratio: 1.1, Verdict: "not enough evidence"}}
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.Contains(t, string(md), "as delivered: not measured")
	require.Contains(t, string(md), "lifted: not measured")
}

// The page keeps to its size: long text is cut and says so, and the gravest
// cautions come first. The other formats hold everything.
func TestPageIsBounded(t *testing.T) {
	d := full()
	const long = 5000
	d.Title, d.Note, d.SessionID = strings.Repeat("t", long), strings.Repeat("n", long), strings.Repeat("s", long)
	d.Firmware, d.Machine.Cooler = strings.Repeat("f", long), strings.Repeat("c", long)
	for range 30 {
		d.Cautions = append(d.Cautions, session.Caution{ID: strings.Repeat("x", len(d.Cautions)), Signal: "NOTICE", Consequence: strings.Repeat("y", long)})
	}
	page, err := sheet.HTML(d)
	require.NoError(t, err)
	require.NotContains(t, string(page), strings.Repeat("t", 71))
	require.NotContains(t, string(page), strings.Repeat("n", 241))
	require.NotContains(t, string(page), strings.Repeat("c", 71))
	require.NotContains(t, string(page), strings.Repeat("y", 261))
	require.Contains(t, string(page), "31 more in the other formats")
	require.Less(t, strings.Index(string(page), "<b>WARNING</b>"), strings.Index(string(page), "<b>NOTICE</b>"))
	require.Contains(t, string(page), "unplug it. Wait one minute before you open the case.", "a warning keeps all that avoids it")
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.Contains(t, string(md), d.Note)
	require.Equal(t, 36, bytes.Count(md, []byte("**NOTICE**"))+bytes.Count(md, []byte("**CAUTION**"))+bytes.Count(md, []byte("**WARNING**")))
	require.Equal(t, 1, bytes.Count(md, []byte("**WARNING**")), "the same caution is told once")
}

func TestOtherThanKeep(t *testing.T) {
	d := full()
	md, err := sheet.Markdown(d)
	require.NoError(t, err)
	require.Contains(t, string(md), "other values of: core voltage mode, set core voltage, lift of the low end.")
	d.Evidence.Keep.Settings = d.Settings
	md, err = sheet.Markdown(d)
	require.NoError(t, err)
	require.NotContains(t, string(md), "other values of")
}

func TestNotANumber(t *testing.T) {
	for ext, make := range formats {
		d := full()
		d.Settings.SetVoltage = units.Volt(math.NaN())
		_, err := make(d)
		require.True(t, fault.Is(err, fault.Invalid), ext)
	}
	d := full()
	d.Evidence.Proof.ModelFreeMTBFH = math.Inf(1)
	_, err := sheet.JSON(d)
	require.True(t, fault.Is(err, fault.Invalid))
}
