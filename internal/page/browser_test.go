package page

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/card"
	"belay/internal/paper"
)

const chromium = "/usr/bin/chromium"

// policy is the content policy that the pages must live under.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; require-trusted-types-for 'script'"

// site serves the scenes with the policy and a stream of versions. alive can
// be turned off to play a PC that restarts.
type site struct {
	*httptest.Server
	guide *fakeGuide
	mu    sync.Mutex
	down  bool
	ears  []chan int64
}

func newSite(t *testing.T) *site {
	t.Helper()
	s := &site{guide: scenes()}
	s.guide.changed = func(_ string, version int64) {
		s.mu.Lock()
		defer s.mu.Unlock()
		for _, ear := range s.ears {
			ear <- version
		}
	}
	e := echo.New()
	e.Use(func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			allowed := policy
			if strings.HasSuffix(c.Path(), "/card") {
				allowed = strings.Replace(allowed, "script-src 'self'", "script-src 'self' "+paper.Source(card.Script()), 1)
				allowed = strings.Replace(allowed, "style-src 'self'", "style-src 'self' "+paper.Source(card.Style()), 1)
			}
			c.Response().Header().Set("Content-Security-Policy", allowed)
			return next(c)
		}
	})
	e.GET("/api/v1/sessions/:id/stream", s.stream)
	e.GET("/api/v1/sessions/:id/prompt", func(c echo.Context) error {
		p, err := s.guide.Prompt(c.Request().Context(), c.Param("id"))
		if err != nil {
			return err
		}
		return c.JSON(http.StatusOK, p)
	})
	require.NoError(t, Register(e, s.guide))
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		down := s.down
		s.mu.Unlock()
		if down {
			panic(http.ErrAbortHandler)
		}
		e.ServeHTTP(w, r)
	}))
	t.Cleanup(func() {
		s.CloseClientConnections()
		s.Close()
	})
	return s
}

func (s *site) stream(c echo.Context) error {
	ear := make(chan int64, 16)
	s.mu.Lock()
	s.ears = append(s.ears, ear)
	s.mu.Unlock()
	c.Response().Header().Set("Content-Type", "text/event-stream")
	fmt.Fprint(c.Response(), "retry: 3000\n\n")
	c.Response().Flush()
	for {
		select {
		case v := <-ear:
			fmt.Fprintf(c.Response(), "id: %d\ndata: {\"version\":%d}\n\n", v, v)
			c.Response().Flush()
		case <-c.Request().Context().Done():
			return nil
		}
	}
}

func (s *site) setDown(down bool) {
	s.mu.Lock()
	s.down = down
	s.mu.Unlock()
	if down {
		s.CloseClientConnections()
	}
}

// browser is one browser for all tests of the package, started by the first
// that needs it. Each test has its own server, and so its own storage.
var browser = sync.OnceValue(func() context.Context {
	alloc, stop := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(chromium), chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.NoSandbox,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("hide-scrollbars", true))
	ctx, cancel := chromedp.NewContext(alloc)
	closeBrowser = func() { cancel(); stop() }
	if err := chromedp.Do(ctx); err != nil { // starts it
		panic(err)
	}
	return ctx
})

var closeBrowser = func() {}

func TestMain(m *testing.M) {
	code := m.Run()
	closeBrowser()
	os.Exit(code)
}

// tab opens a browser tab with the size, theme and scripts asked for. Every
// message on its console fails the test at the end, unless noisy.
type tabOptions struct {
	width, height int64
	theme         string
	noScript      bool
	noisy         bool
}

func tab(t *testing.T, o tabOptions) context.Context {
	t.Helper()
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("no browser at " + chromium + ": the pages are tested without one only")
	}
	ctx, cancel := chromedp.NewContext(browser())
	ctx, expire := context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(func() { expire(); cancel() })

	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(o.width, o.height)))
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: o.theme}},
	})
	require.NoError(t, err)
	if o.noScript {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		require.NoError(t, err)
	}
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
	t.Cleanup(func() {
		mu.Lock()
		defer mu.Unlock()
		if !o.noisy {
			require.Empty(t, heard, "messages on the console")
		}
	})
	return ctx
}

// shoot writes a picture of the whole page into the folder that PAGE_SHOTS
// names, for people to look at.
func shoot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("PAGE_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600))
}

// eval runs an expression in the page and returns its value.
func eval[T any](t *testing.T, ctx context.Context, js string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js))
	require.NoError(t, err, js)
	return v
}

// until waits for an expression to become true.
func until(t *testing.T, ctx context.Context, js string) {
	t.Helper()
	require.Eventually(t, func() bool { return eval[bool](t, ctx, js) }, 20*time.Second, 50*time.Millisecond, js)
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

// TestPictures writes pictures of every scene in both sizes and themes when
// PAGE_SHOTS names a folder, and always checks that no page is wider than
// its window.
func TestPictures(t *testing.T) {
	s := newSite(t)
	sizes := map[string][2]int64{"desktop": {1440, 900}, "phone": {360, 640}, "narrow": {320, 640}}
	for size, wh := range sizes {
		for _, theme := range []string{"light", "dark"} {
			if size == "narrow" && theme == "dark" {
				continue
			}
			t.Run(size+" "+theme, func(t *testing.T) {
				ctx := tab(t, tabOptions{width: wh[0], height: wh[1], theme: theme})
				for _, scene := range []string{"", "s/core", "s/trial", "s/crashed", "s/kinds", "s/practice", "s/done", "compare?ids=core,done", "s/core/card", "s/core/charts", "s/core/glossary", "s/core/history", "s/core/ladder", "s/core/evidence", "s/core/delete"} {
					do(t, ctx, chromedp.Navigate(s.URL+"/"+scene))
					require.LessOrEqual(t, eval[int64](t, ctx, "document.documentElement.scrollWidth"), wh[0], scene)
					shoot(t, ctx, fmt.Sprintf("%s-%s-%s", size, theme, strings.ReplaceAll("at-"+scene, "/", "-")))
				}
			})
		}
	}
}

const (
	phoneWidth, phoneHeight     = 360, 640
	desktopWidth, desktopHeight = 1440, 900
)

// typeInto puts text into the field with this id as a person would.
func typeInto(id, text string) chromedp.Action[chromedp.Void] {
	return chromedp.SendKeys(chromedp.CSS(`[id="`+id+`"]`), text)
}

func TestFlowWithoutScripts(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "light", noScript: true, noisy: true})
	do(t, ctx, chromedp.Navigate(s.URL+"/"), typeInto("title", "Attic PC"), chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.querySelector('h1')?.textContent === 'Attic PC'`)

	do(t, ctx, chromedp.Navigate(s.URL+"/s/trial"), typeInto("f-core_temp_c", "8300"), chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.title.startsWith('Error: ')`)
	until(t, ctx, `document.activeElement.id === 'errors'`)
	require.Equal(t, "8300", eval[string](t, ctx, `document.getElementById('f-core_temp_c').value`))
	shoot(t, ctx, "phone-light-noscript-error")
	do(t, ctx, chromedp.SetValue(chromedp.ID("f-core_temp_c"), "83"), chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.getElementById('step')?.textContent === 'Done: keep the sheet'`)
}

func TestFlowWithScripts(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: desktopWidth, height: desktopHeight, theme: "light"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	require.True(t, eval[bool](t, ctx, `window.sameDocument = true`))

	do(t, ctx, typeInto("f-ratio", "49"), typeInto("f-set_voltage_v", "1.250"))
	require.Equal(t, "1.250\u00a0V, 0.015\u00a0V higher than before, as proposed.", eval[string](t, ctx, `document.querySelectorAll('output.says')[1].textContent`))
	shoot(t, ctx, "desktop-light-typed")
	do(t, ctx, chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.getElementById('step').textContent === 'Run the load and report'`)
	require.True(t, eval[bool](t, ctx, `window.sameDocument`), "no reload")
	require.Equal(t, "step", eval[string](t, ctx, `document.activeElement.id`), "the new question has the focus")
	require.Equal(t, []string{"49"}, s.guide.forms[0].Form["ratio"])
	require.Contains(t, eval[string](t, ctx, `document.querySelector('.notes').lastElementChild.textContent`), "Run the load and report")

	require.True(t, eval[bool](t, ctx, `document.querySelector('[data-field=minutes_to_failure]').hidden`))
	do(t, ctx, chromedp.Click(chromedp.CSS("label[for=f-outcome-2]")))
	require.False(t, eval[bool](t, ctx, `document.querySelector('[data-field=minutes_to_failure]').hidden`))
	rows := `[...document.querySelectorAll('.grid tbody tr')].filter((r) => !r.hidden).length`
	require.Equal(t, 2, eval[int](t, ctx, rows))
	do(t, ctx, chromedp.Click(chromedp.CSS(".grid-tools button:first-child")))
	require.Equal(t, 3, eval[int](t, ctx, rows))
	require.True(t, eval[bool](t, ctx, `document.querySelector('.grid-tools button').hidden`), "no more rows than allowed")

	do(t, ctx, typeInto("f-core_temp_c", "61"), typeInto("f-readings.0.load_voltage_v", "1.2"), chromedp.Click(chromedp.ID("tick-0")), chromedp.Reload())
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	require.Equal(t, "61", eval[string](t, ctx, `document.getElementById('f-core_temp_c').value`), "typing survives a reload")
	require.Equal(t, "1.2", eval[string](t, ctx, `document.getElementById('f-readings.0.load_voltage_v').value`))
	require.True(t, eval[bool](t, ctx, `document.getElementById('tick-0').checked`))
	require.False(t, eval[bool](t, ctx, `document.querySelector('[data-field=minutes_to_failure]').hidden`))

	do(t, ctx, chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.getElementById('step').textContent === 'Describe the PC'`)
	require.Equal(t, 0, eval[int](t, ctx, `Object.keys(localStorage).length`), "sent drafts are dropped")
}

func TestErrorWithScripts(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "dark", noisy: true}) // the console reports the status 422
	do(t, ctx, chromedp.Navigate(s.URL+"/s/trial"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	do(t, ctx, typeInto("f-core_temp_c", "8300"), chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.activeElement.id === 'errors'`)
	require.Equal(t, "8300", eval[string](t, ctx, `document.getElementById('f-core_temp_c').value`))
	shoot(t, ctx, "phone-dark-error")
}

func TestAskWithScripts(t *testing.T) {
	s := newSite(t)
	s.guide.reply.Text = "Because the ratio below held with 22 mV to spare."
	s.guide.reply.Choices = []string{"where am I"}
	ctx := tab(t, tabOptions{width: desktopWidth, height: desktopHeight, theme: "dark"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	do(t, ctx, typeInto("f-ratio", "49"), typeInto("say", "why"), chromedp.Click(chromedp.CSS(".asking button")))
	until(t, ctx, `document.activeElement.id === 'reply'`)
	require.Contains(t, eval[string](t, ctx, `document.getElementById('reply').textContent`), "22\u00a0mV to spare")
	require.Equal(t, "49", eval[string](t, ctx, `document.getElementById('f-ratio').value`), "a question loses no typing")
	shoot(t, ctx, "desktop-dark-reply")
}

func TestTwoDevices(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "light"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	require.Eventually(t, func() bool { s.mu.Lock(); defer s.mu.Unlock(); return len(s.ears) > 0 }, 10*time.Second, 20*time.Millisecond)
	do(t, ctx, chromedp.Focus(chromedp.ID("say")))

	_, err := s.guide.AnswerForm(context.Background(), "core", formFor("p-20"))
	require.NoError(t, err)
	until(t, ctx, `document.getElementById('step').textContent === 'Run the load and report'`)
	require.Equal(t, "say", eval[string](t, ctx, `document.activeElement.id`), "the focus stays")
	require.Contains(t, eval[string](t, ctx, `document.getElementById('news').textContent`), "answered on another device")

	do(t, ctx, typeInto("f-core_temp_c", "77"))
	_, err = s.guide.AnswerForm(context.Background(), "core", formFor("p-21"))
	require.NoError(t, err)
	until(t, ctx, `document.querySelector('#news button') !== null`)
	require.Equal(t, "77", eval[string](t, ctx, `document.getElementById('f-core_temp_c').value`), "typing is not lost")
	require.True(t, eval[bool](t, ctx, `document.querySelector('button.primary').disabled`))
	shoot(t, ctx, "phone-light-passed")
	do(t, ctx, chromedp.Click(chromedp.CSS("#news button")))
	until(t, ctx, `document.getElementById('step').textContent === 'Describe the PC'`)
}

func TestPCAway(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "light", noisy: true}) // the console reports failed requests
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	s.setDown(true)
	do(t, ctx, typeInto("f-ratio", "49"), chromedp.Click(chromedp.CSS("button.primary")))
	until(t, ctx, `document.getElementById('away').textContent.includes('not yet on the PC')`)
	require.Equal(t, "49", eval[string](t, ctx, `document.getElementById('f-ratio').value`))
	shoot(t, ctx, "phone-light-away")
	s.setDown(false)
	until(t, ctx, `document.getElementById('step').textContent === 'Run the load and report'`)
	require.True(t, eval[bool](t, ctx, `document.getElementById('away').hidden`))
	require.Len(t, s.guide.forms, 1, "sent once")
}

// TestKeyboardOnly walks from the top of the page to the main button and
// presses it.
func TestKeyboardOnly(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: desktopWidth, height: desktopHeight, theme: "light"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	reached := map[string]bool{}
	for range 60 {
		do(t, ctx, chromedp.KeyEvent("\t"))
		where := eval[string](t, ctx, `(document.activeElement.name || document.activeElement.id || document.activeElement.className) + ''`)
		reached[where] = true
		require.NotEqual(t, "none", eval[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`), "visible focus on "+where)
		switch where {
		case "ratio":
			do(t, ctx, chromedp.KeyEvent("49"))
		case "set_voltage_v":
			do(t, ctx, chromedp.KeyEvent("1.25"))
		}
		if where == "action" {
			break
		}
	}
	require.True(t, reached["skip"] && reached["ratio"] && reached["set_voltage_v"] && reached["action"], "%v", reached)
	do(t, ctx, chromedp.KeyEvent("\r"))
	until(t, ctx, `document.getElementById('step').textContent === 'Run the load and report'`)
}

// TestTargets measures what can be pressed. Source of 24 px: WCAG 2.2,
// success criterion 2.5.8, which excepts links within text; 48 px for the
// buttons of a step on a phone is our own goal.
func TestTargets(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "light"})
	for _, path := range []string{"/", "/s/core", "/s/trial", "/s/practice"} {
		do(t, ctx, chromedp.Navigate(s.URL+path))
		small := eval[[]string](t, ctx, `[...document.querySelectorAll('button, summary, select, input:not([type=hidden], [type=radio], [type=checkbox]), nav a, a.button, a.quiet, .card label')]
			.filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 24).map((e) => e.outerHTML)`)
		require.Empty(t, small, path)
		low := eval[[]string](t, ctx, `[...document.querySelectorAll('.step .button')].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 48).map((e) => e.textContent)`)
		require.Empty(t, low, path)
	}
}

// TestLargeText doubles the text and widens its spacing, as WCAG 2.2 asks in
// 1.4.4 and 1.4.12: nothing may leave the window.
func TestLargeText(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: 1280, height: 800, theme: "light"})
	for _, path := range []string{"/", "/s/core", "/s/trial", "/s/core/glossary"} {
		do(t, ctx, chromedp.Navigate(s.URL+path))
		eval[string](t, ctx, `document.documentElement.style.fontSize = '200%'`)
		require.LessOrEqual(t, eval[int](t, ctx, `document.documentElement.scrollWidth`), 1280, path)
	}
}

func formFor(prompt string) assist.FormRequest {
	return assist.FormRequest{Prompt: prompt, Action: "entered", Key: "other-" + prompt, Form: map[string][]string{"core_temp_c": {"80"}}}
}
