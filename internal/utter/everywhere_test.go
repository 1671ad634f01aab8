package utter

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// everywhere are the words that work in every state. Source: U05 of the
// requirements in docs/formats/utterances.md.
var everywhere = map[string]Reading{
	"undo": {Kind: Command, Command: "undo"}, "back": {Kind: Command, Command: "undo"}, "go back": {Kind: Command, Command: "undo"},
	"stop": {Kind: Command, Command: "stop"}, "Stop!": {Kind: Command, Command: "stop"},
	"help": {Kind: Topic, Topic: "help"}, "HELP ME": {Kind: Topic, Topic: "help"},
	"where am I": {Kind: Topic, Topic: "where"}, "where am i?": {Kind: Topic, Topic: "where"},
	"why": {Kind: Topic, Topic: "why"}, "Why?": {Kind: Topic, Topic: "why"}, "why this voltage": {Kind: Topic, Topic: "why"},
	"I don't know": {Kind: Topic, Topic: "dunno"}, "i dont know": {Kind: Topic, Topic: "dunno"},
	"I can't find it": {Kind: Topic, Topic: "find"}, "how much longer": {Kind: Topic, Topic: "long"},
}

func TestCommonWordsWorkInEveryState(t *testing.T) {
	g := desktop(t)
	require.Greater(t, len(g.States), 80)
	for _, st := range g.States {
		scene := Scene{Fields: fieldsOf(g, st.ID), Trial: st.Trial, Terms: g.Glossary}
		for text, want := range everywhere {
			got := Read(text, scene)
			require.Equal(t, want, Reading{Kind: got.Kind, Command: got.Command, Topic: got.Topic}, "%q in %s: %s", text, st.ID, brief(got))
			require.Empty(t, got.Values)
		}
	}
}

func TestEveryTermIsFound(t *testing.T) {
	g := desktop(t)
	for _, term := range g.Glossary {
		got := Read("what is "+term.Term, Scene{Terms: g.Glossary})
		require.Equal(t, Term, got.Kind, "%s: %s", term.Term, brief(got))
		require.Equal(t, term.Term, got.Term.Term)
	}
}

// TestExamplesOfTheFlowAreUnderstood types each example of each number field
// with its label and unit.
func TestExamplesOfTheFlowAreUnderstood(t *testing.T) {
	g := desktop(t)
	seen := map[string]bool{}
	for _, st := range g.States {
		for _, f := range fieldsOf(g, st.ID) {
			if f.Kind != "number" || seen[f.Name] {
				continue
			}
			seen[f.Name] = true
			unit := f.Unit
			if unit == "pieces" || unit == "points" || unit == "×" {
				unit = ""
			}
			got := Read(f.Label+": "+f.Example+" "+unit, Scene{Fields: fieldsOf(g, st.ID), Trial: st.Trial, Terms: g.Glossary})
			require.Equal(t, Draft, got.Kind, "%s %q in %s: %s", f.Name, f.Example, st.ID, brief(got))
			require.Len(t, got.Values, 1, "%s: %s", f.Name, brief(got))
			require.Contains(t, got.Values, f.Name)
		}
	}
	require.Greater(t, len(seen), 30)
}
