package assist

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/utter"
	"belay/internal/wording"
)

// longestText bounds free text, in characters. Chosen: a few sentences.
const longestText = 500

// mostChoices bounds what a reply offers to say. Chosen: read at a glance.
const mostChoices = 5

// Reply is the answer to free text. Kind is help, glossary, place, command
// (what a button does), draft (values to confirm), ask (something has to be
// said more clearly) or unknown. A draft can ask as well.
type Reply struct {
	Kind    string   `json:"kind"`
	Text    string   `json:"text"`
	Choices []string `json:"choices"`           // what can be said next, at most five
	Draft   *Draft   `json:"draft,omitempty"`   // kind draft
	Command string   `json:"command,omitempty"` // kind command: undo or stop, where it is possible now
}

// Draft holds values that were understood. Nothing of it is saved.
type Draft struct {
	Prompt   string       `json:"prompt"`    // the prompt that the values are for
	Values   trial.Values `json:"values"`    // by field name
	ReadBack []string     `json:"read_back"` // each value with its unit and change
}

// Say answers free text: values for the fields of the present step as a
// draft, or a question, or what is not understood. It changes nothing.
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
	p := s.Prompt()
	scene := utter.Scene{Fields: p.Fields, Trial: p.Trial, Now: s.Settings, Next: s.Settings, Terms: s.Graph().Glossary}
	if p.Proposal != nil {
		scene.Next = p.Proposal.Settings
	}
	r := utter.Read(text, scene)
	reply := Reply{Choices: []string{}}
	switch r.Kind {
	case utter.Command:
		return commandReply(s, p, r.Command), nil
	case utter.Topic:
		return topicReply(s, p, r.Topic), nil
	case utter.Term:
		reply.Kind, reply.Text = "glossary", r.Term.Text
	case utter.Draft:
		past := s.pastLimits(r.Values)
		for field := range past {
			delete(r.Values, field)
		}
		r.Found = slices.DeleteFunc(r.Found, func(f utter.Found) bool { return past[f.Field.Name] != "" })
		reply = askReply(r, scene, sortedValues(past))
		if len(r.Values) > 0 {
			reply.Kind = "draft"
			reply.Draft = &Draft{Prompt: p.ID, Values: r.Values, ReadBack: r.ReadBack(scene)}
			reply.Text = strings.TrimSpace("Understood so far, and not saved:\n" + reply.Text)
			if len(r.Asks)+len(past) == 0 {
				reply.Text = strings.Replace(reply.Text, "Understood so far, and not saved:", "Understood, and not saved yet:", 1)
			}
		}
	case utter.Asked:
		reply = askReply(r, scene, nil)
	default:
		reply.Kind = "unknown"
		reply.Text = fmt.Sprintf("Belay did not understand “%s”. Nothing has changed.", text)
		if example := sayable(p); example != "" {
			reply.Text += "\n" + example
		}
		reply.Choices = []string{"why", "where am I", "how much longer", "I can't find it", "undo"}
	}
	return reply, nil
}

// askReply says what is asked back, and what this step does not ask for.
func askReply(r utter.Reading, scene utter.Scene, more []string) Reply {
	lines := more
	for _, ask := range r.Asks {
		if line := ask.Text(); !slices.Contains(lines, line) && len(lines) < mostChoices {
			lines = append(lines, line)
		}
	}
	if len(r.Aside) > 0 {
		lines = append(lines, "This step does not ask for “"+strings.Join(r.Aside, "”, “")+"”.")
	}
	if len(r.Values) == 0 {
		lines = append(lines, "Nothing has changed.")
	}
	return Reply{Kind: "ask", Text: strings.Join(lines, "\n"), Choices: r.Choices(scene)}
}

// sayable tells with an example what the step can be told.
func sayable(p *session.Prompt) string {
	for _, f := range p.Fields {
		if f.Kind == "number" && f.Example != "" {
			return "You can type what you read, such as “" + wording.Plain(f.Label) + " " + strings.TrimSpace(f.Example+" "+strings.Trim(f.Unit, "×")) + "”."
		}
	}
	return ""
}

// pastLimits returns, by field, why a setting is past a hard limit. There is
// no way to confirm it.
func (s loaded) pastLimits(values trial.Values) map[string]string {
	out := map[string]string{}
	if !s.Here().Confirms {
		return out
	}
	settings := s.Settings
	if s.Proposal != nil {
		settings = s.Proposal.Settings
	}
	known := map[string]any{}
	for name, v := range values {
		if slices.Contains(trial.SettingNames(), name) {
			known[name] = v
		}
	}
	body, err := json.Marshal(known)
	if err != nil || json.Unmarshal(body, &settings) != nil {
		return out // the check of the answer says what is wrong
	}
	for _, v := range s.Graph().Platform.Limits.For(s.Machine).Hard(settings, s.Machine.MemoryStandard) {
		if _, told := values[v.Field]; told {
			out[v.Field] = v.Reason
		}
	}
	return out
}

func sortedValues(m map[string]string) []string {
	var out []string
	for _, v := range m {
		out = append(out, v)
	}
	slices.Sort(out)
	return out
}
