package page

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// The card goes on working with the PC gone: every part opens, ticks and
// typing stay, the answer waits and is sent with its key once the PC is back.
func TestCardWithThePCGone(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "light", noisy: true}) // requests fail on purpose
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core/card"))
	until(t, ctx, `document.getElementById('state').textContent.startsWith('The PC is reachable')`)
	shoot(t, ctx, "phone-light-card")
	s.setDown(true)
	until(t, ctx, `document.getElementById('state').textContent === 'The PC is off or restarting. This page keeps working.'`)

	parts := eval[int](t, ctx, `document.querySelectorAll('.jump a').length`)
	require.Equal(t, 5, parts)
	require.True(t, eval[bool](t, ctx, `[...document.querySelectorAll('.jump a')].every((a) => { a.click(); return location.hash === a.getAttribute('href') && document.querySelector(location.hash).getBoundingClientRect().height > 0; })`))
	require.True(t, eval[bool](t, ctx, `[...document.querySelectorAll('#if-not details')].every((d) => { d.querySelector('summary').click(); return d.open && d.querySelector('ol').getBoundingClientRect().height > 0; })`))
	do(t, ctx, chromedp.Click(chromedp.ID("tick-0")), typeInto("f-ratio", "49"), typeInto("f-set_voltage_v", "1.250"))
	require.Contains(t, eval[string](t, ctx, `document.querySelectorAll('output.says')[1].textContent`), "higher than before")
	key := eval[string](t, ctx, `document.querySelector('form.answer input[name=key]').value`)
	do(t, ctx, chromedp.Click(chromedp.CSS("form.answer button.primary")))
	until(t, ctx, `document.getElementById('state').textContent.startsWith('Your answer is not yet on the PC')`)
	shoot(t, ctx, "phone-light-card-away")
	require.Empty(t, s.guide.sent())
	require.True(t, eval[bool](t, ctx, `Object.entries(localStorage).some(([k, v]) => k.startsWith('belay draft') && v.includes('1.250') && v.includes('tick-0'))`))

	s.setDown(false)
	until(t, ctx, `location.pathname === '/s/core' && document.getElementById('step')?.textContent === 'Run the load and report'`)
	sent := s.guide.sent()
	require.Len(t, sent, 1)
	require.Equal(t, key, sent[0].Key)
	require.Equal(t, []string{"49"}, sent[0].Form["ratio"])
	until(t, ctx, `Object.keys(localStorage).length === 0`)
}

// A card of a step that was answered elsewhere leads on, and sends nothing.
func TestCardOfAPassedStep(t *testing.T) {
	s := newSite(t)
	ctx := tab(t, tabOptions{width: phoneWidth, height: phoneHeight, theme: "dark"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core/card"))
	_, err := s.guide.AnswerForm(ctx, "core", formFor("p-20"))
	require.NoError(t, err)
	until(t, ctx, `document.getElementById('state').textContent.startsWith('The PC is back, and this step is done.')`)
	require.Equal(t, "/s/core", eval[string](t, ctx, `document.querySelector('#state a').getAttribute('href')`))
}

// What is to be scanned is a picture that the page may show.
func TestCardCode(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/core/card.svg")
	require.Equal(t, "image/svg+xml", d.header.Get("Content-Type"))
	require.Contains(t, d.raw, `class="qr"`)
	page := get(t, serve(t, scenes()), "/s/core")
	require.Contains(t, page.raw, "Take this step with you</h3>")
	require.Contains(t, page.raw, "Next comes “Run the load and report”.")
	require.NotContains(t, get(t, serve(t, scenes()), "/s/trial").raw, "Take this step with you", "the PC does not restart there")
}
