package sensorlog

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/sample"
)

func TestOneTrialInManyShapes(t *testing.T) {
	require.GreaterOrEqual(t, len(shapes()), 12)
	for name, text := range shapes() {
		t.Run(name, func(t *testing.T) {
			log, err := Read(strings.NewReader(text), Guessed)
			require.NoError(t, err)
			r := log.Series.Reduce(sample.Want{})
			require.InDelta(t, 1.212, float64(r.LoadVoltage), 5e-4, "%+v", log.Layout.Guess)
			require.InDelta(t, 78, float64(r.CoreTemp), 0.1, "%+v", log.Layout.Guess)
			require.InDelta(t, 151, float64(r.PackagePower), 0.1, "%+v", log.Layout.Guess)
			require.InDelta(t, 4800, float64(r.Clock), 1, "%+v", log.Layout.Guess)
			require.Equal(t, sample.Held, r.ClockState)
			require.InDelta(t, 50, r.LoadSeconds, 10, "%+v", r)
			require.Equal(t, strings.HasPrefix(name, "headings again"), r.Gaps > 0)
			require.Equal(t, name == "clock set back an hour", strings.Contains(strings.Join(log.Warnings, " "), "set back"))
		})
	}
}

func TestALogReducesAsLiveSamplesDo(t *testing.T) {
	var file bytes.Buffer
	var live sample.Series
	w, err := NewWriter(&file)
	require.NoError(t, err)
	for i := range 400 {
		v := sample.None()
		v[sample.Voltage], v[sample.Temp], v[sample.Power] = 1.2+0.001*math.Sin(float64(i)), 50+float64(i%30), 140+float64(i%7)
		if i > 5 {
			v[sample.Clock] = 4800
		}
		v[sample.Throttle] = float64(i / 390)
		at := float64(i) * 1.0005
		require.NoError(t, live.Add(at, v))
		require.NoError(t, w.Put(at, v))
	}
	log, err := Read(bytes.NewReader(file.Bytes()), As(Own()))
	require.NoError(t, err)
	want := sample.Want{Clock: 4800, Limit: 143}
	require.Equal(t, live.Reduce(want), log.Series.Reduce(want))
	require.Equal(t, sample.Slowed, log.Series.Reduce(want).ClockState)
	guessed, err := Look(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	require.Equal(t, []string{"load_voltage_v"}, guessed.Guess.Columns["load_voltage_v"])
	require.Equal(t, "elapsed_s", guessed.Guess.Time)
}

func TestTheHeaderNamesTheLayout(t *testing.T) {
	key := func(head string) string {
		l, err := Look(strings.NewReader(table(head, plainLine)))
		require.NoError(t, err)
		return l.Key
	}
	require.Equal(t, key(plainHead), key(strings.ToUpper(plainHead)))
	require.NotEqual(t, key(plainHead), key(strings.Replace(plainHead, "Clock", "Takt", 1)))
}

func TestAMappingIsChecked(t *testing.T) {
	l, err := Look(strings.NewReader(shapes()["plain"]))
	require.NoError(t, err)
	require.NoError(t, l.Check(l.Guess))
	for _, m := range []Mapping{
		{},
		{Columns: map[string][]string{"core_temp_c": {"No such column"}}},
		{Columns: map[string][]string{"colour": {"Time"}}},
		{Time: "no", Columns: map[string][]string{"core_temp_c": {"CPU Package [°C]"}}},
	} {
		err := l.Check(m)
		require.True(t, fault.Is(err, fault.Invalid))
		_, err = Read(strings.NewReader(shapes()["plain"]), As(m))
		require.True(t, fault.Is(err, fault.Invalid))
	}
	_, err = Read(strings.NewReader(shapes()["plain"]), As(Mapping{Time: "Time", Columns: map[string][]string{"core_temp_c": {"Time"}}}))
	require.NoError(t, err, "foolish, but what the person chose")
}

func TestWhatIsNoLogIsRefusedWithAWayOn(t *testing.T) {
	for name, text := range map[string]string{
		"empty":         "  \n \r\n",
		"prose":         "This is a letter.\nIt has no numbers, and commas.\n",
		"binary":        "PK\x03\x04" + strings.Repeat("\x00\x01\x02", 100),
		"headings only": plainHead + "\n",
		"one long line": "Time,Vcore [V]\n00:00:01,1.2\n" + strings.Repeat("x", longestLine+10),
		"comma within": table("Time,Vcore [V],CPU Package [°C],CPU Package Power [W]", func(i int, r row) string {
			return stamp(0, i) + "," + german(r.v) + "," + german(r.t) + "," + german(r.p)
		}),
		"no readings":        "Time,Vcore [V]\n" + strings.Repeat("00:00:01,\n", 20),
		"longer than 2 days": "Elapsed [s],Vcore [V]\n0,1.2\n1,1.2\n200000,1.2\n",
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(strings.NewReader(text), Guessed)
			var f *fault.Error
			require.ErrorAs(t, err, &f)
			require.Contains(t, []fault.Code{fault.Invalid, fault.Limit}, f.Code)
			require.NotEmpty(t, f.Next)
		})
	}
	_, err := read(endless("00:00:01,1.2\n"), Guessed, 2<<20)
	require.True(t, fault.Is(err, fault.Limit))
}

// endless repeats a row for ever, under a heading.
func endless(row string) io.Reader {
	return io.MultiReader(strings.NewReader("Time,Vcore [V]\n"), &repeat{row: []byte(row)})
}

type repeat struct {
	row []byte
	at  int
}

func (r *repeat) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = r.row[r.at]
		r.at = (r.at + 1) % len(r.row)
	}
	return len(p), nil
}

func TestUnitsAndNumbers(t *testing.T) {
	for _, x := range []struct {
		cell  string
		comma bool
		want  float64
	}{
		{"1.25", false, 1.25}, {"1,25", true, 1.25}, {"1,234.5", false, 1234.5}, {"1.234,5", true, 1234.5}, {"4.800", true, 4800},
		{"-3", false, -3}, {"1.2e1", false, 12}, {"48 °C", false, 48}, {"7E", false, 7}, {"0.85", true, 0.85},
	} {
		got, ok := number([]byte(x.cell), x.comma)
		require.True(t, ok, x.cell)
		require.InDelta(t, x.want, got, 1e-12, x.cell)
	}
	for _, cell := range []string{"", "N/A", "-", "e", "1e999"} {
		_, ok := number([]byte(cell), false)
		require.False(t, ok, cell)
	}
	for name, want := range map[string]string{"Vcore [V]": "V", "Temp (°C)": "°C", "clock_mhz": "MHz", "Power in W": "W", "Core, mV": "V", "Notes": ""} {
		u, _ := unitOf(name)
		require.Equal(t, want, u.symbol, name)
	}
	require.InDelta(t, 4.8, bySize(sample.Voltage, 4800), 1e-9)
	require.InDelta(t, 4800, bySize(sample.Clock, 4.8), 1e-9)
}

func TestTimesOfDay(t *testing.T) {
	for text, want := range map[string]float64{
		"18:05:09": 65109, "2026-11-28T18:05:09.250Z": 65109.25, "28.11.2026 18:05:09,5": 65109.5, "6:05:09 PM": 65109,
		"12:00:01 AM": 1, "12:00 PM": 43200, "100:00:00": 360000,
	} {
		got, ok := secondsOfDay([]byte(text))
		require.True(t, ok, text)
		require.InDelta(t, want, got, 1e-9, text)
	}
	_, ok := secondsOfDay([]byte("no time"))
	require.False(t, ok)
}

// FuzzRead reads any bytes: an answer or a fault, never a panic.
func FuzzRead(f *testing.F) {
	all := shapes()
	var names []string
	for name := range all {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		text := all[name]
		f.Add([]byte(text[:min(len(text), 2000)]))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		log, err := Read(bytes.NewReader(body), Guessed)
		if err != nil {
			require.NotEqual(t, fault.Internal, fault.CodeOf(err), "%v", err)
			return
		}
		r := log.Series.Reduce(sample.Want{Clock: 5000, Limit: 100})
		require.False(t, math.IsNaN(float64(r.LoadVoltage+0)), fmt.Sprint(r))
		require.False(t, math.IsNaN(float64(r.PackagePower)), fmt.Sprint(r))
	})
}

// BenchmarkRead100MB streams a log of 100 MB with 200 columns.
func BenchmarkRead100MB(b *testing.B) {
	text := shapes()["200 columns"]
	head, rest, _ := strings.Cut(text, "\n")
	_, row, _ := strings.Cut(rest, "\n")
	row, _, _ = strings.Cut(row, "\n")
	_, row, _ = strings.Cut(row, ",")
	rows := 100_000_000 / (len(row) + 10)
	b.SetBytes(int64(rows * (len(row) + 10)))
	b.ReportAllocs()
	for b.Loop() {
		r, w := io.Pipe()
		go func() {
			fmt.Fprintln(w, head)
			for i := range rows {
				fmt.Fprintf(w, "%s,%s\n", stamp(0, i), row)
			}
			w.Close()
		}()
		log, err := Read(r, Guessed)
		if err != nil || log.Rows != rows {
			b.Fatal(err, log)
		}
	}
}

func TestMemory(t *testing.T) {
	path := filepath.Join(t.TempDir(), "columns.json")
	m := NewMemory(path)
	_, ok := m.Recall("k")
	require.False(t, ok)
	require.NoError(t, m.Remember("k", Own()))
	got, ok := NewMemory(path).Recall("k")
	require.True(t, ok)
	require.Equal(t, Own(), got)
	for i := range 2 * remembered {
		require.NoError(t, m.Remember(fmt.Sprint(i), Own()))
	}
	require.LessOrEqual(t, len(m.load()), remembered)
	require.NoError(t, os.WriteFile(path, []byte("{damaged"), 0o600))
	_, ok = m.Recall("k")
	require.False(t, ok, "a damaged file remembers nothing")
	require.NoError(t, m.Remember("k", Own()))
	require.True(t, fault.Is(NewMemory(filepath.Join(path, "below")).Remember("k", Own()), fault.Unavailable))
}

func TestHeld(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "held")
	h := NewHeld(folder)
	first, err := h.Keep(strings.NewReader("a log"))
	require.NoError(t, err)
	file, err := h.Open(first)
	require.NoError(t, err)
	body, err := io.ReadAll(file)
	require.NoError(t, err)
	require.NoError(t, file.Close())
	require.Equal(t, "a log", string(body))
	for range heldLogs {
		_, err = h.Keep(strings.NewReader("another"))
		require.NoError(t, err)
	}
	_, err = h.Open(first)
	require.True(t, fault.Is(err, fault.NotFound), "the oldest has gone")
	_, err = h.Open("../../etc/passwd")
	require.True(t, fault.Is(err, fault.NotFound))
	last, err := h.Keep(strings.NewReader("x"))
	require.NoError(t, err)
	h.Drop(last)
	_, err = h.Open(last)
	require.True(t, fault.Is(err, fault.NotFound))
	left, err := filepath.Glob(filepath.Join(folder, "*"))
	require.NoError(t, err)
	require.LessOrEqual(t, len(left), heldLogs)
	NewHeld(folder)
	left, err = filepath.Glob(filepath.Join(folder, "*"))
	require.NoError(t, err)
	require.Empty(t, left, "nothing stays from an earlier run")
}
