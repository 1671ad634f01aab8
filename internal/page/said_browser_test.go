package page

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/trial"
)

func TestDraftWithScripts(t *testing.T) {
	s := newSite(t)
	s.guide.reply = assist.Reply{
		Kind: "draft", Text: "Understood, and not saved yet:", Choices: []string{},
		Draft: &assist.Draft{Prompt: "p-20", Values: trial.Values{"set_voltage_v": 1.265}, ReadBack: []string{"Core voltage: 1.265 V, 0.015 V higher than before."}},
	}
	ctx := tab(t, tabOptions{width: desktopWidth, height: desktopHeight, theme: "light"})
	do(t, ctx, chromedp.Navigate(s.URL+"/s/core"))
	until(t, ctx, `document.querySelector('form.scripted') !== null`)
	do(t, ctx, typeInto("f-ratio", "49"), typeInto("say", "1.265 v"), chromedp.Click(chromedp.CSS(".asking button")))
	until(t, ctx, `document.querySelector('form.said') !== null`)
	shoot(t, ctx, "desktop-light-draft")
	require.Empty(t, eval[string](t, ctx, `document.getElementById('f-set_voltage_v').value`))
	do(t, ctx, chromedp.Click(chromedp.CSS("form.said button")))
	until(t, ctx, `document.getElementById('f-set_voltage_v').value === '1.265'`)
	require.Equal(t, "49", eval[string](t, ctx, `document.getElementById('f-ratio').value`), "what was typed before stays")
	require.Equal(t, "f-set_voltage_v", eval[string](t, ctx, `document.activeElement.id`))
	require.Equal(t, 0, eval[int](t, ctx, `document.getElementById('reply').childElementCount`))
	require.Empty(t, s.guide.sent(), "nothing is saved")
}
