package flow

import (
	"fmt"
	"strings"
)

// Draw returns the flow as a Mermaid state diagram: a box for each stage, a
// state with its title, an arrow for each branch with its action and
// condition. Arrows of automatic branches are marked "auto".
func (g *Graph) Draw() string {
	var b strings.Builder
	b.WriteString("stateDiagram-v2\n")
	ids := g.marks()
	for _, st := range g.Stages {
		fmt.Fprintf(&b, "    state \"%s\" as stage_%s {\n", mermaid(st.Title), strings.ReplaceAll(st.ID, "-", "_"))
		for _, s := range g.States {
			if s.Stage == st.ID {
				fmt.Fprintf(&b, "        state \"%s\" as %s\n", mermaid(s.Title), ids[s.ID])
			}
		}
		b.WriteString("    }\n")
	}
	for _, s := range g.States {
		if s.Stage == "" {
			fmt.Fprintf(&b, "    state \"%s\" as %s\n", mermaid(s.Title), ids[s.ID])
		}
	}
	fmt.Fprintf(&b, "    [*] --> %s\n", ids[g.Start])
	for _, s := range g.States {
		g.drawWays(&b, s, ids)
	}
	return b.String()
}

func (g *Graph) drawWays(b *strings.Builder, s *State, ids map[string]string) {
	arrow := func(label string, br Branch) {
		if br.When != nil {
			label += " if " + br.When.Source
		}
		to := ids[br.To]
		if br.To == Return {
			to = ids[s.ID]
			label += " (returns)"
		}
		fmt.Fprintf(b, "    %s --> %s : %s\n", ids[s.ID], to, mermaid(label))
	}
	for _, br := range s.Auto {
		arrow("auto", br)
	}
	for _, a := range s.Actions {
		for _, br := range a.Branches {
			arrow(a.Label, br)
		}
	}
	if s.End {
		fmt.Fprintf(b, "    %s --> [*]\n", ids[s.ID])
	}
}

// marks gives every state a name that Mermaid can read, each its own.
func (g *Graph) marks() map[string]string {
	ids := make(map[string]string, len(g.States))
	taken := map[string]bool{}
	for _, s := range g.States {
		id := strings.NewReplacer(".", "__", "-", "_").Replace(s.ID)
		for taken[id] {
			id += "_"
		}
		taken[id], ids[s.ID] = true, id
	}
	return ids
}

// mermaid escapes what has a meaning in a Mermaid label.
func mermaid(s string) string {
	var b strings.Builder
	for _, r := range strings.Join(strings.Fields(s), " ") {
		if strings.ContainsRune("\"#;:<>{}[]`|\\%&", r) {
			fmt.Fprintf(&b, "#%d;", r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}
