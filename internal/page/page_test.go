package page

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/session"
)

func everyPage() []string {
	return []string{
		"/", "/s/core", "/s/trial", "/s/crashed", "/s/kinds", "/s/fresh", "/s/practice", "/s/done", "/s/core/glossary",
		"/compare?ids=core,done", "/s/core/card", "/s/fresh/card", "/s/core/charts", "/s/fresh/charts", "/s/core/history", "/s/core/ladder", "/s/core/evidence", "/s/fresh/evidence", "/s/core/delete", "/nowhere", "/s/unknown",
	}
}

func TestEveryPageIsSound(t *testing.T) {
	e := serve(t, scenes())
	for _, path := range everyPage() {
		t.Run(path, func(t *testing.T) {
			d := get(t, e, path)
			require.Equal(t, "text/html; charset=UTF-8", d.header.Get("Content-Type"))
			require.Equal(t, "no-store", d.header.Get("Cache-Control"))
			require.NotContains(t, d.raw, "ZgotmplZ")
			require.Len(t, d.tag("h1"), 1)
			require.Len(t, d.tag("main"), 1)
			if !strings.HasSuffix(path, "/card") { // it stands alone: TestHTMLStandsAlone of package card
				d.requireNoInline()
			}
			d.requireUniqueIDs()
			d.requireLabels()
			d.requireHeadingOrder()
			d.requireForms()
		})
	}
}

func TestStepOrder(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/core")
	at := -1
	for _, mark := range []string{
		"Stage 7 of 13: Core ratio and voltage", "Enter the next setting</h2>", "Takes about 5", "The PC restarts in this step",
		`class="caution caution-notice"`, "Enter this</h3>", "Do this</h3>", "What you should see</h3>", "Report</h3>",
		"These are in the firmware now", "If it does not go so", "Undo the last answer", ">Help</a>", "Stop here for now",
	} {
		i := strings.Index(d.raw, mark)
		require.Greater(t, i, at, mark)
		at = i
	}
}

func TestOnePrimaryButtonInEachStep(t *testing.T) {
	e := serve(t, scenes())
	for path, want := range map[string]string{
		"/s/core": "These are in the firmware now", "/s/trial": "Save the result", "/s/kinds": "Save and go on",
		"/s/practice": "Let the simulated PC answer", "/s/done": "Open the settings sheet",
	} {
		require.Equal(t, []string{want}, texts(get(t, e, path).class("primary")), path)
	}
}

func TestReadbackIsNeverFilledIn(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/core")
	for _, name := range []string{"ratio", "set_voltage_v"} {
		in := d.named(name)
		require.Len(t, in, 1)
		require.Empty(t, attr(in[0], "value"))
		require.Equal(t, "text", attr(in[0], "type"))
	}
	require.Equal(t, []string{"49", "1.250 V"}, texts(d.class("new")))
	require.Equal(t, []string{"1 higher than before", "0.015 V higher than before"}, texts(d.class("change")))
	require.Contains(t, d.raw, "1.250\u00a0V")
}

func TestCautionsShowAllParts(t *testing.T) {
	e := serve(t, scenes())
	for path, want := range map[string]struct {
		class, word string
		triangle    bool
	}{
		"/s/core":  {"caution-notice", "Notice", false},
		"/s/trial": {"caution-caution", "Caution", true},
		"/s/kinds": {"caution-warning", "Warning", true},
	} {
		d := get(t, e, path)
		box := d.class(want.class)
		require.Len(t, box, 1, path)
		require.Regexp(t, "^"+want.word+" .+ Avoid it .+ Limit .+ Way back .+", text(box[0]))
		triangle := false
		for n := range box[0].Descendants() {
			triangle = triangle || n.Data == "path" && strings.HasPrefix(attr(n, "d"), "M12 3L")
			require.NotEqual(t, "details", n.Data, "a caution is never folded away")
		}
		require.Equal(t, want.triangle, triangle, path)
	}
}

func TestUnknownSignalIsAWarning(t *testing.T) {
	require.Equal(t, "warning", cautionViews("", []session.Caution{{Signal: "PERIL"}})[0].Class)
}

func TestEveryFieldKind(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/kinds")
	require.Equal(t, "decimal", attr(d.id("f-core_count"), "inputmode"))
	require.Equal(t, "10", attr(d.id("f-core_count"), "value"))
	require.Equal(t, "text", attr(d.id("f-offset_v"), "inputmode"), "a decimal keyboard may lack the minus")
	require.Len(t, d.named("cooler"), 2)
	require.True(t, has(d.id("f-cooler"), "checked"))
	require.Equal(t, "select", d.id("f-load_line").Data)
	require.Len(t, d.named("own_kit"), 2)
	require.True(t, has(d.id("f-own_kit"), "checked"))
	require.Equal(t, "F.12", attr(d.id("f-firmware_version"), "value"))
	for _, name := range []string{"scores.0.score", "scores.1.score", "scores.2.score"} {
		require.Len(t, d.named(name), 1)
	}
	require.Contains(t, text(d.id("main")), "3 readings, one in each row.")
}

func TestConditionalFieldSaysWhenItIsNeeded(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/trial")
	require.Contains(t, text(d.id("f-minutes_to_failure-hint")),
		"Needed only if “How did it end?” is: It found a wrong result; The PC froze; The PC restarted by itself.")
	field := d.all(func(n *html.Node) bool { return attr(n, "data-field") == "minutes_to_failure" })
	require.JSONEq(t, `{"outcome":["error","froze","reset"]}`, attr(field[0], "data-needed-if"))
}

func trialForm() url.Values {
	return url.Values{
		"prompt": {"p-21"}, "key": {"k1"}, "action": {"report"}, "outcome": {"froze"}, "minutes_to_failure": {"7,5"}, "core_temp_c": {"8300"},
		"readings.0.load_voltage_v": {"1.214 V"}, "readings.0.package_power_w": {"207"}, "readings.2.package_power_w": {"208"}, "notes": {"a <b> & c"},
	}
}

func TestRefusedAnswerKeepsWhatWasTyped(t *testing.T) {
	d := post(t, serve(t, scenes()), "/s/trial/answer", trialForm())
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	for name, values := range trialForm() {
		if name == "prompt" || name == "key" || name == "action" || name == "outcome" {
			continue
		}
		require.Equal(t, values[0], attr(d.named(name)[0], "value"), name)
	}
	require.True(t, has(d.id("f-outcome-2"), "checked"))
	summary := d.id("errors")
	require.True(t, has(summary, "autofocus"))
	require.Equal(t, "alert", attr(summary, "role"))
	require.Contains(t, d.raw, `href="#f-core_temp_c"`)
	require.Contains(t, d.raw, `href="#f-readings.1.load_voltage_v"`)
	require.Equal(t, "true", attr(d.id("f-core_temp_c"), "aria-invalid"))
	require.Equal(t, "true", attr(d.id("f-readings.1.load_voltage_v"), "aria-invalid"))
	require.Contains(t, text(d.id("f-core_temp_c-error")), "is above the range")
	require.True(t, strings.HasPrefix(text(d.tag("title")[0]), "Error: "))
	d.requireUniqueIDs()
	d.requireHeadingOrder()
}

func TestGoodAnswerRedirects(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	form := trialForm()
	form.Set("core_temp_c", "83")
	for range 2 { // a double click does nothing twice
		d := post(t, e, "/s/trial/answer", form)
		require.Equal(t, http.StatusSeeOther, d.status)
		require.Equal(t, "/s/trial#step", d.header.Get("Location"))
	}
	require.Equal(t, int64(41), g.sessions["trial"].view.Version)
	require.Equal(t, assist.FormRequest{Prompt: "p-21", Action: "report", Key: "k1", Form: g.forms[0].Form}, g.forms[0])
	require.NotContains(t, g.forms[0].Form, "prompt")
	require.Equal(t, []string{"7,5"}, g.forms[0].Form["minutes_to_failure"])
}

func TestStalePromptShowsThePresentOne(t *testing.T) {
	e := serve(t, scenes())
	form := url.Values{"prompt": {"p-0"}, "key": {"old"}, "action": {"entered"}, "ratio": {"52"}, "core_temp_c": {"61"}}
	d := post(t, e, "/s/core/answer", form)
	require.Equal(t, http.StatusConflict, d.status)
	require.Equal(t, "This step was already answered. Answer the present step.", text(d.id("news")))
	require.Equal(t, "Enter the next setting", text(d.id("step")))
	require.Empty(t, attr(d.named("ratio")[0], "value"), "a readback is never carried over to another prompt")
	require.Empty(t, d.class("summary"))
	form.Set("key", "older")
	require.Equal(t, "61", attr(post(t, e, "/s/trial/answer", form).named("core_temp_c")[0], "value"), "other fields keep what was typed")
}

func TestKeysDifferFromPageToPage(t *testing.T) {
	e := serve(t, scenes())
	a, b := get(t, e, "/s/core").named("key"), get(t, e, "/s/core").named("key")
	require.GreaterOrEqual(t, len(attr(a[0], "value")), 32)
	require.NotEqual(t, attr(a[0], "value"), attr(b[0], "value"))
	seen := map[string]bool{}
	for _, n := range a {
		require.False(t, seen[attr(n, "value")], "each form of a page has a key of its own")
		seen[attr(n, "value")] = true
	}
}

func TestPractice(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	d := get(t, e, "/s/practice")
	require.Contains(t, texts(d.class("badge")), "Practice: simulated PC")
	require.Len(t, d.class("by-hand"), 1)
	require.False(t, has(d.class("by-hand")[0], "open"))
	r := post(t, e, "/s/practice/simulate", url.Values{"prompt": {"p-21"}, "key": {"s1"}})
	require.Equal(t, http.StatusSeeOther, r.status)
	require.Equal(t, "Enter the next setting", text(get(t, e, "/s/practice").id("step")))

	require.Empty(t, get(t, e, "/s/core").class("simulate"), "a real PC is never simulated")
}

func TestRefusedAnswerInPracticeIsUnfolded(t *testing.T) {
	d := post(t, serve(t, scenes()), "/s/practice/answer", trialForm())
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.True(t, has(d.class("by-hand")[0], "open"))
}

func TestUndo(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	d := post(t, e, "/s/core/undo", url.Values{"key": {"u1"}})
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.Contains(t, text(d.id("errors")), "There is no answer to take back.")
	post(t, e, "/s/core/answer", url.Values{"prompt": {"p-20"}, "key": {"k"}, "action": {"entered"}})
	require.Equal(t, http.StatusSeeOther, post(t, e, "/s/core/undo", url.Values{"key": {"u2"}}).status)
	after := get(t, e, "/s/core")
	require.Equal(t, "Enter the next setting", text(after.id("step")))
	require.NotEmpty(t, after.class("superseded"))
	require.Contains(t, text(after.id("log")), "Taken back")
}

func TestSaySomething(t *testing.T) {
	g := scenes()
	g.reply = assist.Reply{Kind: "unknown", Text: "“<i>hum</i>” is not clear.\nTry a [[load line]] word.", Choices: []string{"why", "help"}}
	e := serve(t, g)
	d := post(t, e, "/s/core/say", url.Values{"text": {"<i>hum</i>"}})
	require.Equal(t, http.StatusSeeOther, d.status)
	to := d.header.Get("Location")
	require.Regexp(t, `^/s/core\?reply=[0-9a-f]{32}#reply$`, to)
	page := get(t, e, strings.TrimSuffix(to, "#reply"))
	require.Contains(t, text(page.id("reply")), "“<i>hum</i>” is not clear.")
	require.Empty(t, page.tag("i"), "what was typed is never markup")
	require.Empty(t, text(get(t, e, "/s/core?reply=made-up").id("reply")), "nobody can put words into the page")
}

func TestSayNothingKeepsThePage(t *testing.T) {
	d := post(t, serve(t, scenes()), "/s/core/say", url.Values{"text": {""}})
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.Contains(t, text(d.id("errors")), "Nothing was typed.")
}

func TestErrorPages(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	for _, path := range []string{"/nowhere", "/s/unknown", "/static/0000/shared/base.css"} {
		d := get(t, e, path)
		require.Equal(t, http.StatusNotFound, d.status, path)
		require.Equal(t, "Nothing is here", text(d.tag("h1")[0]))
	}
	require.NotContains(t, get(t, e, "/api/v1/nothing").raw, "<html", "the API has its own errors")

	g.fail = fault.Wrap("store", io.ErrUnexpectedEOF)
	d := get(t, e, "/s/core")
	require.Equal(t, http.StatusInternalServerError, d.status)
	require.NotContains(t, d.raw, "EOF", "causes stay in the log")
	require.Contains(t, d.raw, "Nothing that you saved is lost.")
	g.fail = fault.New(fault.Unavailable, "The store is busy.", "Try again in a moment.")
	require.Equal(t, http.StatusServiceUnavailable, get(t, e, "/s/core").status)
}

func TestLongBodiesAreRefused(t *testing.T) {
	d := post(t, serve(t, scenes()), "/s/core/answer", url.Values{"notes": {strings.Repeat("x", maxForm)}})
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.Contains(t, d.raw, "longer than any answer")
}

func TestA06NothingChangesByGet(t *testing.T) {
	e := serve(t, scenes())
	for _, path := range []string{"/sessions", "/s/core/answer", "/s/core/simulate", "/s/core/undo", "/s/core/rename", "/s/core/say"} {
		require.GreaterOrEqual(t, get(t, e, path).status, 400, path)
	}
	get(t, e, "/s/core/delete")
	require.Equal(t, http.StatusOK, get(t, e, "/s/core").status)
}

const attack = `"><script>alert(1)</script>{{.}}' onmouseover=x javascript:alert(1)`

func TestA26TextIsNeverMarkup(t *testing.T) {
	g := scenes()
	for _, id := range []string{"core", "trial"} {
		s := g.sessions[id]
		s.view.Title = attack
		s.view.Settings.LoadLine = attack
		s.view.Evidence.Proof.Sentence = attack + " [[" + attack + "]]"
		s.view.Evidence.Warnings = []string{attack}
		s.view.Stages[6].Title = attack
		s.history[0].Title, s.history[1].Lines = attack, []string{attack}
		p := s.prompts[0]
		p.ID, p.Title = attack, attack
		p.Messages = []session.Message{{Kind: "say", Text: "[[" + attack + "|" + attack + "]]"}, {Kind: "do", Text: attack}}
		p.Cautions = []session.Caution{{ID: attack, Signal: attack, Hazard: attack, Consequence: attack, Avoid: attack, Limit: attack, WayBack: attack}}
		p.Actions[0].Label = attack
		p.Fields = append(p.Fields, session.Field{Name: "f", Label: attack, Kind: "text", Default: attack, Help: attack, Unknown: attack, NeededIf: map[string][]string{"x": {attack}}})
		p.Proposal.Because, p.Proposal.Settings.LoadLine = attack, attack
		s.prompts[0] = p
	}
	g.terms[0].Term, g.terms[0].Text, g.terms[0].Also = attack, attack, []string{attack}
	g.reply = assist.Reply{Text: attack, Choices: []string{attack}}
	e := serve(t, g)
	location := post(t, e, "/s/core/say", url.Values{"text": {attack}}).header.Get("Location")
	for _, path := range []string{"/", "/s/core", "/s/trial", "/s/core/glossary", "/s/core/charts", "/s/core/history", "/s/core/ladder", "/s/core/evidence", "/s/core/delete", strings.TrimSuffix(location, "#reply")} {
		d := get(t, e, path)
		require.Equal(t, http.StatusOK, d.status, path)
		require.Contains(t, d.raw, "alert(1)")
		d.requireNoInline()
		d.requireUniqueIDs()
	}
}

func TestUnknownPathsOfSessionsStayEncoded(t *testing.T) {
	d := post(t, serve(t, scenes()), "/s/"+url.PathEscape("//evil.example/x")+"/undo", url.Values{"key": {"k"}})
	require.Equal(t, http.StatusNotFound, d.status)
	require.Empty(t, d.header.Get("Location"))
}
