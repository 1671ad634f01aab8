package card

import (
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/internal/paper"
	"belay/internal/session"
	"belay/internal/trial"
)

func message(kind, text string) session.Message { return session.Message{Kind: kind, Text: text} }

// example is an invented step that enters a ratio and a voltage.
func example() Data {
	back := session.Prompt{
		State: "core.no-boot", Title: "Bring the PC back to a picture", Minutes: 10,
		Messages: []session.Message{message("do", "Wait five minutes."), message("do", "Clear the settings as the manual shows."), message("see", "The [[firmware setup]].")},
		Cautions: []session.Caution{{ID: "mains", Signal: "WARNING", Hazard: "Mains voltage.", Consequence: "A shock can kill.", Avoid: "Unplug.", Limit: "No hand inside.", WayBack: "Leave it closed."}},
	}
	next := session.Prompt{State: "core.run", Title: "Try this ratio under load", Trial: true, Messages: []session.Message{message("do", "Start the PC.")}}
	return Data{
		Title: "Desk PC", Stages: []session.StageView{{ID: "rig", Title: "Describe"}, {ID: "core", Title: "Core [[ratio]]"}},
		Now: trial.Settings{Ratio: 49, SetVoltage: 1.235, VoltageMode: "static"},
		Prompt: session.Prompt{
			ID: "p40", State: "core.enter", Stage: "core", Title: "Enter the next ratio and voltage", Minutes: 5, Restarts: true,
			Messages: []session.Message{message("do", "Restart into the [[firmware setup]]."), message("if_fails", "Save this step first.")},
			Cautions: []session.Caution{{ID: "core-voltage", Signal: "NOTICE", Hazard: "Core voltage: 1.255 V.", Consequence: "Wear.", Avoid: "Digit by digit.", Limit: "At most 1.410 V.", WayBack: "Load the defaults."}},
			Proposal: &trial.Proposal{
				Settings: trial.Settings{Ratio: 50, SetVoltage: 1.255, VoltageMode: "static"}, Changed: []string{"ratio", "set_voltage_v"},
				Load: trial.Scalar, Minutes: 10, Expect: &trial.Expectation{LoadVoltage: trial.Interval{1.21, 1.218, 1.226}, CoreTemp: trial.Interval{80, 83, 88}},
			},
		},
		Next: &next, WayBack: &back, Stop: 95,
		Ahead: []session.Ahead{{Outcome: trial.NoBoot, Prompt: back}, {Outcome: trial.Froze, Prompt: session.Prompt{Title: "Switch it off", Messages: []session.Message{message("do", "Hold the power button.")}}}},
	}
}

func TestText(t *testing.T) {
	require.Equal(t, strings.TrimSpace(`
Enter the next ratio and voltage
Core ratio 50 (now 49)
Core voltage 1.255 V (now 1.235 V)
Read back, save, restart. All else stays.
Then all-core load for 10 min. Close it above 95 °C.
No picture: wait 5 min, then off at the supply 1 min.
Still dark: UNPLUG 1 min, clear settings (see manual).
Frozen: hold power 5 s, wait 10 s, on, open setup.
Way back: load defaults; boot order, disk mode: photo.
When up: open Belay. Try this ratio under load.`), Text(example()))
}

// Whatever a step holds, the card keeps to twelve lines and to one code.
func TestTextIsBounded(t *testing.T) {
	d := example()
	long := strings.Repeat("very long words ", 40)
	all := trial.Settings{
		Ratio: 50, CacheRatio: 45, SetVoltage: 1.255, VoltageMode: "adaptive", Offset: -0.05, LoadLine: long, LowEndMV: 20, WideVectorOffset: 2,
		SustainedLimit: 280, ShortLimit: 300, MemoryProfile: "on", DataRate: 3600, CL: 16, TRCD: 19, TRP: 19, TRAS: 39, DRAMVoltage: 1.35,
	}
	d.Prompt.Title, d.Next.Title, d.Title = long, long, long
	d.Prompt.Proposal.Settings, d.Prompt.Proposal.Changed = all, trial.SettingNames()
	lines := Lines(d)
	require.LessOrEqual(t, len(lines), mostLines)
	require.Contains(t, Text(d), "Memory voltage 1.350 V", "no setting is lost")
	for _, x := range []Data{d, example(), {Prompt: session.Prompt{Title: "Welcome"}}} {
		text := Text(x)
		_, err := paper.QR(text)
		require.NoError(t, err, "%d bytes: %s", len(text), text)
		require.True(t, utf8.ValidString(text))
	}
}

var outside = regexp.MustCompile(`(?i)<(link|img|iframe|object|embed|base)|https?://|url\(|@import|src=|style="|\son[a-z]+=`)

// The document loads nothing, has everything in it, and takes no markup from
// a person.
func TestHTMLStandsAlone(t *testing.T) {
	d := example()
	d.Path, d.Form = "/s/x", `<form class="answer"></form>`
	d.Title = `<script>alert(1)</script>`
	d.Prompt.Proposal.Settings.LoadLine = d.Title
	body, err := HTML(d)
	require.NoError(t, err)
	text := string(body)
	require.NotContains(t, text, "<script>alert")
	bare := strings.NewReplacer(`xmlns="http://www.w3.org/2000/svg"`, "", `<link rel="icon" href="data:,">`, "").Replace(text)
	require.Empty(t, outside.FindAllString(bare, -1))
	require.Contains(t, text, "<style>"+Style()+"</style>")
	require.Contains(t, text, `<script type="module">`+Script()+"</script>")
	for _, want := range []string{
		"Stage 2 of 2: Core ratio", "Enter the next ratio and voltage", "1.255\u00a0V", "Core voltage: 1.255\u00a0V.", "Restart into the firmware setup.",
		"about 1.218\u00a0V (1.210\u00a0to\u00a01.226)", "First, when the PC is up again", "Try this ratio under load", "No picture, or it does not start",
		"It freezes", "Hold the power button.", "Way back to a PC that starts", "A shock can kill.", "Close it above 95 °C",
	} {
		require.Contains(t, text, want)
	}
	ids := map[string]bool{}
	root, err := html.Parse(strings.NewReader(text))
	require.NoError(t, err)
	for n := range root.Descendants() {
		for _, a := range n.Attr {
			if a.Key == "id" {
				require.False(t, ids[a.Val], a.Val)
				ids[a.Val] = true
			}
		}
	}
	for n := range root.Descendants() {
		for _, a := range n.Attr {
			if a.Key == "href" && strings.HasPrefix(a.Val, "#") {
				require.True(t, ids[a.Val[1:]], a.Val)
			}
		}
	}
	again, err := HTML(d)
	require.NoError(t, err)
	require.Equal(t, body, again)

	alone, err := HTML(example())
	require.NoError(t, err)
	require.NotContains(t, string(alone), "<script", "a card that answers nothing needs no script")
	require.NotContains(t, string(alone), "</form>")
}
