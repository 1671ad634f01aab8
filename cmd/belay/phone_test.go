//go:build linux

package main

import (
	"context"
	"encoding/json"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// TestAPhoneComesInByPicture follows the address that the picture code holds,
// in a browser, to a second loopback address.
func TestAPhoneComesInByPicture(t *testing.T) {
	const chromium = "/usr/bin/chromium"
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("no browser at " + chromium)
	}
	r := start(t, t.TempDir(), "--lan-addr", "127.0.0.2")
	type view struct {
		Address string
		Code    struct{ Token string }
		Asking  []struct{ ID, Name string }
		Devices []struct{ ID string }
	}
	ask := func(method, path, body string) (v view) {
		require.NoError(t, json.Unmarshal(r.ask(method, "/api/v1/pairing"+path, body), &v))
		return v
	}
	v := ask(http.MethodPost, "/code", "")
	require.True(t, strings.HasPrefix(v.Address, "127.0.0.2:"), v.Address)
	alloc, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(chromium), chromedp.Headless, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Flag("disable-background-networking", true))
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, expire := context.WithTimeout(ctx, 5*time.Minute)
	defer expire()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate("http://"+v.Address+"/pair#"+v.Code.Token)))
	becomes := func(what string) {
		t.Helper()
		require.Eventually(t, func() bool {
			there, err := chromedp.Run(ctx, chromedp.Evaluate[bool](what))
			return err == nil && there
		}, patience, 50*time.Millisecond, what)
	}
	becomes(`document.getElementById('code')?.value === '` + v.Code.Token + `' && location.hash === ''`)
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.ID("name"), "Kitchen phone"), chromedp.Click(chromedp.CSS("button.primary"))))
	becomes(`document.body.innerText.includes('say yes on the PC')`)
	v = ask(http.MethodGet, "", "")
	require.Len(t, v.Asking, 1)
	require.Equal(t, "Kitchen phone", v.Asking[0].Name)
	require.Empty(t, v.Devices)
	ask(http.MethodPost, "/asking/"+v.Asking[0].ID, `{"in":true}`)
	becomes(`location.pathname === '/' && document.body.innerText.includes('Your sessions')`)
	require.Len(t, ask(http.MethodGet, "", "").Devices, 1)
	require.Empty(t, ask(http.MethodDelete, "", "").Address)
	r.stop()
	require.Equal(t, 0, r.ended())
	require.Contains(t, r.messages.String(), "Phones reach it at http://127.0.0.2:")
	require.NotContains(t, r.messages.String(), r.token)
}
