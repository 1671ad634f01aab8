package main

import (
	"context"
	"encoding/json"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"belay/flows"
	"belay/internal/config"
	"belay/internal/flow"
	"belay/internal/scene"
	"belay/internal/store"
)

// checker is the accessibility checker that "go run ./cmd/dev test" installs.
const checker = "../dev/axe/node_modules/axe-core/axe.min.js"

// gallery fills a data folder with a session in every state of the flow, and
// returns the states.
func gallery(t *testing.T, folder string) []*flow.State {
	t.Helper()
	log, err := store.Open(config.Database(folder))
	require.NoError(t, err)
	defer func() { require.NoError(t, log.Close()) }()
	states, err := scene.Fill(t.Context(), log, flows.FS, "desktop")
	require.NoError(t, err)
	return states
}

// look is how a page is looked at.
type look struct {
	name          string
	width, height int64
	scheme        string
}

var looks = []look{{"phone, light", 360, 640, "light"}, {"desktop, dark", 1440, 900, "dark"}}

// allLooks adds the other two. BELAY_LONG=1 takes every state in all four; without
// it every fifth state is looked at on a desktop.
var allLooks = append(looks, look{"phone, dark", 360, 640, "dark"}, look{"desktop, light", 1440, 900, "light"})

// page is what a state's page told of itself.
type page struct {
	Violations []struct {
		ID, Help string
		Nodes    []struct {
			HTML, FailureSummary string
		}
	}
	Elsewhere []string // files that came from another host
	Weight    int      // bytes of the page and its files, uncompressed
	Wide      int      // pixels that stick out to the right
	Big       int      // the same with text at 200 %
	Narrow    int      // the same at 320 px
}

// TestEveryStateIsAccessible opens a session in every state of the flow and
// checks its page: no violation of the accessibility rules that can be tested
// by a program (WCAG 2.2 A and AA), nothing from another host, nothing that
// sticks out, no error in the console.
func TestEveryStateIsAccessible(t *testing.T) {
	const chromium = "/usr/bin/chromium"
	rules, err := os.ReadFile(checker)
	if err != nil {
		t.Skip("no accessibility checker at " + checker)
	}
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("no browser at " + chromium)
	}
	folder := t.TempDir()
	states := gallery(t, folder)
	r := start(t, folder)
	alloc, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(chromium), chromedp.Headless, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Flag("disable-background-networking", true))
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	errors := consoleErrors(ctx)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(r.base+r.opening)))
	require.Eventually(t, func() bool { // the one-time page leads on by itself
		there, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`location.pathname === '/' && !!document.getElementById('title')`))
		return err == nil && there
	}, patience, 50*time.Millisecond)
	these := looks
	if os.Getenv("BELAY_LONG") != "" {
		these = allLooks
	}
	heaviest := 0
	for _, l := range these {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(l.width, l.height)))
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: l.scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}},
		})
		require.NoError(t, err)
		for i, s := range states {
			if l.width > 1000 && i%5 != 0 && len(these) == len(looks) {
				continue // BELAY_LONG=1 takes every state in every look
			}
			t.Run(l.name+"/"+s.ID, func(t *testing.T) {
				p := inspect(t, ctx, r.base+"/s/"+scene.Session(s.ID), string(rules), l)
				for _, v := range p.Violations {
					for _, n := range v.Nodes {
						t.Errorf("%s: %s\n%s\n%s", v.ID, v.Help, n.HTML, n.FailureSummary)
					}
				}
				require.Empty(t, p.Elsewhere)
				require.LessOrEqual(t, p.Wide, 0, "sticks out")
				require.LessOrEqual(t, p.Big, 0, "sticks out with text at 200 %%")
				require.LessOrEqual(t, p.Narrow, 0, "sticks out at 320 px")
				heaviest = max(heaviest, p.Weight)
			})
		}
	}
	require.Empty(t, errors(), "errors in the console")
	t.Logf("%d states, %d looks; the heaviest page with its files has %d bytes", len(states), len(these), heaviest)
	// The goal is 100 KB. What it is now must not grow.
	require.LessOrEqual(t, heaviest, 128<<10, "a page with its styles, scripts and charts, in bytes")
}

// inspect opens a page and has it told.
func inspect(t *testing.T, ctx context.Context, url, rules string, l look) page {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	_, err := chromedp.Run(ctx, chromedp.Evaluate[any](rules+"\n;undefined"))
	require.NoError(t, err)
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(async () => {
		const out = document.documentElement;
		const over = () => out.scrollWidth - out.clientWidth;
		const wide = over();
		out.style.fontSize = '200%';
		const big = over();
		out.style.fontSize = '';
		const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
		const r = await axe.run(document, { runOnly: tags, resultTypes: ['violations'] });
		const files = performance.getEntriesByType('resource').filter((e) => e.initiatorType !== 'fetch' && e.initiatorType !== 'xmlhttprequest');
		return JSON.stringify({
			violations: r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.map((n) => ({ html: n.html, failureSummary: n.failureSummary })) })),
			elsewhere: files.map((e) => e.name).filter((n) => new URL(n).host !== location.host && !n.startsWith('data:')),
			weight: files.reduce((sum, e) => sum + e.decodedBodySize, 0) + performance.getEntriesByType('navigation')[0].decodedBodySize,
			wide, big,
		});
	})()`, chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	var p page
	require.NoError(t, json.Unmarshal([]byte(text), &p))
	if l.width < 1000 {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(320, 640)))
		p.Narrow, err = chromedp.Run(ctx, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`))
		require.NoError(t, err)
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(l.width, l.height)))
	}
	return p
}

// consoleErrors collects what the pages of a tab write to its console.
func consoleErrors(ctx context.Context) func() []string {
	var mu sync.Mutex
	var heard []string
	console := chromedp.Console(ctx)
	go func() { // ends with ctx
		for m, err := range console {
			if err != nil {
				return
			}
			mu.Lock()
			heard = append(heard, string(m.Type)+": "+m.Text)
			mu.Unlock()
		}
	}()
	return func() []string {
		mu.Lock()
		defer mu.Unlock()
		return slices.Clone(heard)
	}
}
