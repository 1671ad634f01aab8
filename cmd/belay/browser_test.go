//go:build unix

package main

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// bench is an invented PC: eight cores, a plain load line, and a voltage need
// that the guide has to find. No simulated PC of Belay's is behind it.
type bench struct {
	set   map[string]any // what was typed into its firmware
	trial int
}

func (b *bench) number(name string, otherwise float64) float64 {
	if v, ok := b.set[name].(float64); ok && v > 0 {
		return v
	}
	return otherwise
}

// run answers a trial of a load: readings, and whether the voltage sufficed.
func (b *bench) run(load string) map[string]any {
	b.trial++
	ratio := b.number("ratio", 46)
	if load == "wide-vector" {
		ratio -= b.number("wide_vector_offset", 0)
	}
	set := b.number("set_voltage_v", 1.17)
	draw := map[string]float64{"scalar": 1, "wide-vector": 1.2, "mixed": 1, "cache": 0.9, "memory": 0.6, "bursty": 0.4}[load]
	volt, watt := set, 0.0
	for range 20 { // the load line: half a milliohm
		watt = 160 * draw * volt * volt / 1.44 * ratio / 46
		volt = set - 0.0005*watt/volt
	}
	up := ratio - 46
	need := 1.04 + 0.032*up + 0.0015*up*up
	r := map[string]any{
		"outcome": "clean", "load_voltage_v": math.Round(volt*1000) / 1000, "package_power_w": math.Round(watt),
		"core_temp_c": math.Round(23 + 0.24*watt), "air_temp_c": 23.0, "clock_mhz": ratio * 100, "errors_found": 0.0,
		"score": math.Round(2000*math.Pow(ratio/46, 0.8) + float64(b.trial%3)), "coverage_gb": 180.0,
		"data_rate_mts": b.number("data_rate_mts", 3200),
	}
	if core := load != "memory" && load != "cache" && load != "bursty"; core && volt < need+0.03 {
		r["outcome"], r["minutes_to_failure"] = "error", 2.5
		if volt < need {
			r["outcome"], r["minutes_to_failure"] = "froze", 0.4
		}
	}
	r["scores"] = [][2]any{{"score", r["score"]}, {"score", r["score"].(float64) + 3}, {"score", r["score"].(float64) - 2}}
	return r
}

// described is what its owner knows of the PC.
var described = map[string]any{
	"core_count": 8.0, "stock_ratio": 46.0, "stock_cache_ratio": 40.0, "base_clock_mhz": 100.0, "temp_limit_c": 100.0,
	"firmware_version": "F4", "memory_standard": "ddr4", "memory_modules": 2.0, "memory_gb": 32.0, "kit_rate_mts": 3600.0,
	"kit_cl": 18.0, "kit_trcd": 22.0, "kit_trp": 22.0, "kit_tras": 42.0, "kit_voltage_v": 1.35, "load_line": "level 3",
	"air_temp_c": 23.0, "supply_w": 750.0, "voltage_mode": "static", "memory_profile": "on",
}

// TestARealPCByHand types a whole session into the page, with scripts off, and
// ends with a sheet that is not marked as simulated.
func TestARealPCByHand(t *testing.T) {
	const chromium = "/usr/bin/chromium"
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("no browser at " + chromium)
	}
	r := start(t, t.TempDir())
	w := &traveller{t: t, base: r.base, token: r.token, visits: map[string]int{}}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(chromium), chromedp.Headless, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Flag("disable-background-networking", true))
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, expire := context.WithTimeout(ctx, 8*time.Minute)
	defer expire()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)))
	_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(r.base+r.opening)))
	require.Eventually(t, func() bool { // the one-time page leads on by itself
		there, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`location.pathname === '/' && !!document.getElementById('title')`))
		return err == nil && there
	}, patience, 50*time.Millisecond)
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.ID("title"), "Attic PC"), chromedp.Click(chromedp.CSS("button.primary"))))
	var list []struct{ ID string }
	require.Eventually(t, func() bool { return w.get("/sessions", &list) == nil && len(list) == 1 }, patience, 50*time.Millisecond)
	w.id = list[0].ID

	pc := &bench{set: map[string]any{}}
	states := map[string]int{}
	for range longest {
		var p struct {
			prompt
			Proposal *struct {
				Settings map[string]any
				Load     string
			}
			Trial bool
		}
		require.NoError(t, w.get("/sessions/"+w.id+"/prompt", &p))
		states[p.State]++
		if p.Finished {
			break
		}
		require.NotContains(t, []string{"stopped", "baseline.unstable"}, p.State)
		known := map[string]any{}
		for _, from := range []map[string]any{described, wishes} {
			for k, v := range from {
				known[k] = v
			}
		}
		if p.Proposal != nil && !p.Trial {
			for k, v := range p.Proposal.Settings {
				known[k] = v
			}
			pc.set = p.Proposal.Settings
		}
		if p.Trial {
			for k, v := range pc.run(p.Proposal.Load) {
				known[k] = v
			}
		}
		w.typeAnswer(ctx, p.prompt, known, pc)
	}
	require.Equal(t, 1, states["sheet.ready"], "%v", states)
	code, text, err := w.call(http.MethodGet, "/sessions/"+w.id+"/sheet?format=md", "", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, code)
	require.NotContains(t, string(text), "simulated PC")
	require.Contains(t, string(text), "Attic PC")
	t.Logf("%d states, %d trials\n%s", len(states), pc.trial, text)
}

// typeAnswer fills the form on the page and presses its button.
func (w *traveller) typeAnswer(ctx context.Context, p prompt, known map[string]any, pc *bench) {
	w.visits[p.State]++
	action := p.Actions[0].Name
	if n := w.visits[p.State]; n > 2 && len(p.Actions) > 1 && p.Actions[1].Name != "stop" && !slices.Contains([]string{"entered", "report"}, action) {
		action = p.Actions[1].Name
	}
	for _, f := range p.Fields {
		v, ok := known[f.Name]
		if !ok && f.Default != nil {
			v, ok = f.Default, true
		}
		switch {
		case f.Name == "readings":
			for i, load := range []string{"bursty", "scalar"} {
				x := (&bench{set: pc.set}).run(load)
				for _, c := range []string{"set_voltage_v", "load_voltage_v", "package_power_w"} {
					y := x[c]
					if c == "set_voltage_v" {
						y = pc.set[c]
					}
					w.typeInto(ctx, fmt.Sprintf("f-readings.%d.%s", i, c), y)
				}
			}
		case f.Name == "scores" && ok:
			for i, cell := range v.([][2]any) {
				w.typeInto(ctx, fmt.Sprintf("f-scores.%d.score", i), cell[1])
			}
		case !ok || f.Kind == "readings":
		case f.Kind == "choice" || f.Kind == "yesno":
			w.choose(ctx, f.Name, v)
		default:
			w.typeInto(ctx, "f-"+f.Name, v)
		}
	}
	require.NoError(w.t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS(`button[name="action"][value="`+action+`"]`))), p.State)
	require.Eventually(w.t, func() bool {
		var now prompt
		if w.get("/sessions/"+w.id+"/prompt", &now) != nil || now.ID == p.ID {
			return false
		}
		here, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(document.querySelector('input[name=prompt]')||{}).value||''`))
		return err == nil && here == now.ID
	}, 20*time.Second, 20*time.Millisecond, "%s does not take the answer", p.State)
}

func (w *traveller) typeInto(ctx context.Context, id string, v any) {
	_, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector('[id="`+id+`"]').value = ''`))
	require.NoError(w.t, err, id)
	require.NoError(w.t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.CSS(`[id="`+id+`"]`), fmt.Sprint(v))), id)
}

func (w *traveller) choose(ctx context.Context, name string, v any) {
	if yes, ok := v.(bool); ok {
		v = map[bool]string{true: "yes", false: "no"}[yes]
	}
	list, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`!!document.querySelector('select[name="`+name+`"]')`))
	require.NoError(w.t, err)
	if list {
		require.NoError(w.t, chromedp.Do(ctx, chromedp.SetValue(chromedp.CSS(`select[name="`+name+`"]`), fmt.Sprint(v))))
		return
	}
	id, err := chromedp.Run(ctx, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector('input[name="%s"][value="%v"]').id`, name, v)))
	require.NoError(w.t, err)
	require.NoError(w.t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS(`label[for="`+id+`"]`))))
}
