package assist

import (
	"context"
	"fmt"
	"strings"
	"unicode/utf8"

	"belay/internal/fault"
	"belay/internal/flow"
)

// longestText bounds free text, in characters. Chosen: a few sentences.
const longestText = 500

// Say answers free text: a question about the step, the place or a term. It
// changes nothing.
func (a *Assist) Say(ctx context.Context, id, text string) (Reply, error) {
	text = strings.TrimSpace(text)
	if text == "" || utf8.RuneCountInString(text) > longestText {
		f := fault.New(fault.Invalid, "Type between 1 and 500 characters.", "Ask about this step, or about a word on it.")
		f.Fields = []fault.Field{{Field: "text", Message: f.Msg}}
		return Reply{}, f
	}
	s, err := a.load(ctx, id)
	if err != nil {
		return Reply{}, err
	}
	words := " " + strings.ToLower(strings.Trim(text, "?!. ")) + " "
	has := func(phrases ...string) bool {
		for _, p := range phrases {
			if strings.Contains(words, " "+p+" ") {
				return true
			}
		}
		return false
	}
	p := s.Prompt()
	switch {
	case has("where am i", "which step", "progress"):
		return placeReply(s), nil
	case has("how long", "how much longer", "time left"):
		return Reply{Kind: "place", Text: longText(s), Choices: []string{}}, nil
	case has("undo", "back"):
		return Reply{Kind: "help", Text: "Use the undo button. It takes back your last answer, and you can do that again.", Choices: []string{}}, nil
	case has("stop", "pause", "quit"):
		return Reply{Kind: "help", Text: "Use the button \"Stop here for now\". Everything is saved, and you can go on later.", Choices: []string{}}, nil
	}
	if t := findTerm(s.Graph().Glossary, words); t != nil {
		return Reply{Kind: "glossary", Text: t.Text, Choices: []string{}}, nil
	}
	if has("why", "help", "what now", "i do not know", "i don't know", "can't find it", "cannot find it") {
		var parts []string
		for _, m := range p.Messages {
			if m.Kind == "say" || has("can't find it", "cannot find it") && m.Kind == "if_fails" {
				parts = append(parts, m.Text)
			}
		}
		if p.Proposal != nil {
			parts = append(parts, p.Proposal.Because)
		}
		return Reply{Kind: "help", Text: strings.Join(parts, "\n\n"), Choices: []string{}}, nil
	}
	return Reply{
		Kind: "unknown", Text: fmt.Sprintf("Belay did not understand %q. Nothing has changed.", text),
		Choices: []string{"where am I", "how much longer", "why", "what is load line"},
	}, nil
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
func longText(s loaded) string {
	low, high := 0, 0
	for _, st := range s.Stages() {
		if st.Status == "active" || st.Status == "pending" {
			low, high = low+st.Minutes[0], high+st.Minutes[1]
		}
	}
	return fmt.Sprintf("The stages from here usually take %d min to %d min together. Most of that is waiting.", low, high)
}

// findTerm returns the glossary term that the words name, the longest if
// several do.
func findTerm(terms []flow.Term, words string) *flow.Term {
	var best *flow.Term
	length := 0
	for i, t := range terms {
		for _, name := range append([]string{t.Term}, t.Also...) {
			if len(name) > length && strings.Contains(words, " "+strings.ToLower(name)+" ") {
				best, length = &terms[i], len(name)
			}
		}
	}
	return best
}
