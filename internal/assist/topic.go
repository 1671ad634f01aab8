package assist

import (
	"fmt"
	"strings"

	"belay/internal/session"
	"belay/internal/wording"
)

// commandReply says what a command would do. The button does it.
func commandReply(s loaded, p *session.Prompt, command string) Reply {
	r := Reply{Kind: "command", Choices: []string{}}
	switch {
	case command == "undo" && s.CanUndo():
		r.Command, r.Text = "undo", "The undo button takes back your last answer, and you can do that again. Nothing has changed yet."
	case command == "undo":
		r.Text = "There is no answer to take back. Nothing has changed."
	case hasAction(p, "stop"):
		r.Command, r.Text = "stop", "The stop button stops here for now. Everything is saved, and you can go on later. Nothing has changed yet."
	default:
		r.Text = "Nothing runs here that could be stopped. Everything is saved."
	}
	return r
}

func hasAction(p *session.Prompt, name string) bool {
	for _, a := range p.Actions {
		if a.Name == name {
			return true
		}
	}
	return false
}

// danger is common practice, no source. It holds at every step.
const danger = "If something smokes, smells burnt or sparks: switch off at the power supply and pull the plug.\n" +
	"Leave the PC off, and let a qualified person look at it. If it burns, leave the room and call the fire service."

// topicReply answers one of utter.Topics for the present step.
func topicReply(s loaded, p *session.Prompt, topic string) Reply {
	switch topic {
	case "where":
		return placeReply(s)
	case "long":
		return Reply{Kind: "place", Text: longText(s, p), Choices: []string{}}
	}
	var parts []string
	switch topic {
	case "danger":
		parts = []string{danger}
	case "why":
		parts = append(texts(p, "say"), becauseOf(p)...)
	case "find":
		parts = findText(p)
	case "dunno":
		parts = unknownText(p)
	case "safe":
		parts = safeText(p)
	case "trouble":
		parts = append(texts(p, "if_fails"), "The way back stands on the card, step by step. It works while the PC is off.")
	case "next":
		parts = nextText(p)
	default:
		parts = append(append(texts(p, "say"), becauseOf(p)...), strings.TrimSpace(sayable(p)+" You can also ask why, where you are, or what a word means."))
	}
	return Reply{Kind: "help", Text: strings.Join(parts, "\n\n"), Choices: []string{}}
}

func texts(p *session.Prompt, kind string) []string {
	var out []string
	for _, m := range p.Messages {
		if m.Kind == kind {
			out = append(out, m.Text)
		}
	}
	return out
}

func becauseOf(p *session.Prompt) []string {
	if p.Proposal == nil || p.Proposal.Because == "" {
		return nil
	}
	return []string{p.Proposal.Because}
}

// mostFields bounds how many fields one reply explains. Chosen: one screen.
const mostFields = 6

// findText says where each field is found, and which button helps on.
func findText(p *session.Prompt) []string {
	var out []string
	for _, f := range p.Fields {
		if f.Help != "" && len(out) < mostFields {
			out = append(out, wording.Plain(f.Label)+": "+f.Help)
		}
	}
	out = append(out, texts(p, "if_fails")...)
	for _, a := range p.Actions {
		if strings.HasPrefix(a.Name, "find") || strings.HasPrefix(a.Name, "skip") {
			out = append(out, "If that does not help, use the button “"+wording.Plain(a.Label)+"”.")
			break
		}
	}
	if len(out) == 0 {
		out = append(texts(p, "say"), "Nothing is to be found in this step.")
	}
	return out
}

// unknownText says what may be left open, and what follows from it.
func unknownText(p *session.Prompt) []string {
	var out []string
	for _, f := range p.Fields {
		if f.Unknown != "" && len(out) < mostFields {
			out = append(out, wording.Plain(f.Label)+": you may leave it open. "+f.Unknown)
		}
	}
	if len(p.Fields) == 0 {
		return append(texts(p, "say"), texts(p, "if_fails")...)
	}
	return append(out, findText(p)...)
}

// safeText repeats the step's cautions, with their numbers.
func safeText(p *session.Prompt) []string {
	var out []string
	for _, c := range p.Cautions {
		out = append(out, strings.Join([]string{c.Hazard, c.Limit, c.WayBack}, " "))
	}
	if len(out) == 0 {
		out = []string{"This step itself has no caution. Belay refuses every setting past its hard limits, and the way back stands on the card."}
	}
	return out
}

// nextText names the button that goes on, and what it needs.
func nextText(p *session.Prompt) []string {
	if len(p.Actions) == 0 {
		return []string{"Nothing is left to do here."}
	}
	var needs []string
	for _, f := range p.Fields {
		if f.Required {
			needs = append(needs, wording.Plain(f.Label))
		}
	}
	text := "To go on, use the button “" + wording.Plain(p.Actions[0].Label) + "”."
	if len(needs) > 0 {
		text = "This step asks for: " + strings.Join(needs, "; ") + ". Type or choose that first, as you see it. " + text
	}
	return []string{text}
}

func placeReply(s loaded) Reply {
	sum := summaryOf(s.State)
	return Reply{
		Kind:    "place",
		Text:    fmt.Sprintf("Stage %d of %d. This step: %s.", sum.StageNo, sum.StageOf, sum.Heading),
		Choices: []string{},
	}
}

// longText adds up the usual times of the stages that are left.
func longText(s loaded, p *session.Prompt) string {
	low, high := 0, 0
	for _, st := range s.Stages() {
		if st.Status == "active" || st.Status == "pending" {
			low, high = low+st.Minutes[0], high+st.Minutes[1]
		}
	}
	text := ""
	if p.Minutes > 0 {
		text = "This step takes about " + wording.Minutes(p.Minutes) + ". "
	}
	return text + fmt.Sprintf("The stages from here usually take %s to %s together. Most of that is waiting.",
		wording.Minutes(float64(low)), wording.Minutes(float64(high)))
}
