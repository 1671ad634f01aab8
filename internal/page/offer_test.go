package page

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/internal/fault"
)

// buttons returns the offers of a page by what they send.
func offers(d *doc) map[string]*html.Node {
	out := map[string]*html.Node{}
	for _, row := range d.class("offers") {
		for n := range row.Descendants() {
			if n.Data == "button" {
				out[attr(n, "name")+" "+attr(n, "value")] = n
			}
		}
	}
	return out
}

// TestOddValueIsCorrectedOrConfirmed: one tap sends the form again with the
// value that was meant, or insists on the one that was typed. No script runs.
func TestOddValueIsCorrectedOrConfirmed(t *testing.T) {
	g := scenes()
	g.sessions["trial"].refuse["core.run"] = func(form map[string][]string) []fault.Field {
		var wrong []fault.Field
		if form["core_temp_c"][0] == "172" {
			wrong = append(wrong, fault.Field{Field: "core_temp_c", Message: "Hottest core is too high.", Suggest: 77.8})
		}
		if form["readings.0.load_voltage_v"][0] == "1.4" {
			wrong = append(wrong, fault.Field{Field: "readings.0.load_voltage_v", Message: "Load voltage is odd.", Confirm: true})
		}
		return wrong
	}
	e := serve(t, g)
	form := trialForm()
	form.Set("core_temp_c", "172")
	form.Set("readings.0.load_voltage_v", "1.4")
	d := post(t, e, "/s/trial/answer", form)
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	found := offers(d)
	require.Len(t, found, 2)
	require.Contains(t, text(found["correct core_temp_c=77.8"]), "Use 77.8")
	require.NotNil(t, found["confirm readings.0.load_voltage_v=1.4"])
	require.Equal(t, "report", attr(d.named("refused")[0], "value"))
	require.Equal(t, "report", attr(d.named("action")[0], "value"), "the enter key sends the action, never an offer")

	again := func(name, value string) url.Values {
		form := url.Values{}
		for k, v := range trialForm() {
			form[k] = v
		}
		form.Del("action")
		form.Set("core_temp_c", "172")
		form.Set("readings.0.load_voltage_v", "1.4")
		form.Set("refused", "report")
		form.Add(name, value)
		return form
	}
	post(t, e, "/s/trial/answer", again("correct", "core_temp_c=77.8"))
	sent := g.forms[len(g.forms)-1]
	require.Equal(t, "report", sent.Action)
	require.Equal(t, []string{"77.8"}, sent.Form["core_temp_c"])
	require.NotContains(t, sent.Form, "correct")
	require.Empty(t, sent.Confirm)

	d = post(t, e, "/s/trial/answer", again("confirm", "readings.0.load_voltage_v=1.4"))
	sent = g.forms[len(g.forms)-1]
	require.Equal(t, []string{"readings.0.load_voltage_v"}, sent.Confirm)
	kept := d.all(func(n *html.Node) bool { return attr(n, "name") == "confirm" && attr(n, "type") == "hidden" })
	require.Len(t, kept, 1, "it is remembered while the other field is corrected")

	changed := again("confirm", "readings.0.load_voltage_v=1.4")
	changed.Set("readings.0.load_voltage_v", "1.5")
	post(t, e, "/s/trial/answer", changed)
	require.Empty(t, g.forms[len(g.forms)-1].Confirm, "another value was not confirmed")
}
