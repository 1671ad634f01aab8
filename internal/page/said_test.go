package page

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/internal/assist"
	"belay/internal/trial"
)

func TestDraftIsPutIntoTheReportOnly(t *testing.T) {
	g := scenes()
	prompt := "p-20"
	g.reply = assist.Reply{
		Kind: "draft", Text: "Understood, and not saved yet:", Choices: []string{},
		Draft: &assist.Draft{Prompt: prompt, Values: trial.Values{"ratio": 49.0, "set_voltage_v": 1.265}, ReadBack: []string{"Core voltage: 1.265 V, 0.015 V higher than before."}},
	}
	e := serve(t, g)
	to := post(t, e, "/s/core/say", url.Values{"text": {"49 at 1.265"}}).header.Get("Location")
	shown := get(t, e, strings.TrimSuffix(to, "#reply"))
	require.Contains(t, text(shown.id("reply")), "0.015 V higher than before")
	require.Contains(t, text(shown.id("reply")), "Put these into the report")
	require.NotContains(t, attr(shown.id("f-ratio"), "value"), "49", "nothing is typed in before the person says so")

	filled := post(t, e, "/s/core/fill", url.Values{"prompt": {prompt}, "ratio": {"49"}, "set_voltage_v": {"1.265"}, "other": {"x"}})
	require.Equal(t, http.StatusOK, filled.status)
	require.Equal(t, "49", attr(filled.id("f-ratio"), "value"))
	require.Equal(t, "1.265", attr(filled.id("f-set_voltage_v"), "value"))
	require.Contains(t, text(filled.id("news")), "Nothing is saved yet")

	require.Equal(t, http.StatusConflict, post(t, e, "/s/core/fill", url.Values{"prompt": {"p-1"}, "ratio": {"50"}}).status, "a draft for another step is not typed in")
}

func TestDraftPrintsReadingsAsTheFormNamesThem(t *testing.T) {
	got := inputsOf(trial.Values{"scores": []trial.Row{{"score": 5210}, {"score": 5198.5}}, "outcome": "clean", "photo_taken": true})
	require.Equal(t, []inputView{{"outcome", "clean"}, {"photo_taken", "yes"}, {"scores.0.score", "5210"}, {"scores.1.score", "5198.5"}}, got)
}

func TestCommandShowsItsButton(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	for command, path := range map[string]string{"undo": "/s/core/undo", "stop": "/s/core/answer"} {
		g.reply = assist.Reply{Kind: "command", Command: command, Text: "Nothing has changed yet.", Choices: []string{}}
		to := post(t, e, "/s/core/say", url.Values{"text": {command}}).header.Get("Location")
		shown := get(t, e, strings.TrimSuffix(to, "#reply"))
		inside := shown.all(func(n *html.Node) bool {
			return n.Data == "form" && attr(n, "action") == path && n.Parent != nil && hasClass(n.Parent, "reply")
		})
		require.Len(t, inside, 1, command)
	}
}
