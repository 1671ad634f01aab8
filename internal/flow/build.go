package flow

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
)

// loader turns the files of a flow into a graph and collects what is wrong.
type loader struct {
	problems *Problems
	graph    *Graph

	flow, cautions, glossary, platform, causes *document

	raw    rawFlow
	warned []Caution // in the order of the file
	drafts []*draft
	cache  map[compiledKey]compiled
	terms  map[string]bool // glossary terms and their other words, lower case
}

// draft is a state on its way into the graph.
type draft struct {
	*State
	raw  *rawState
	path string // where the file holds it
	name string // its id as written
	way  ways
}

// graph checks the files and builds the graph.
func (b Bundle) graph(problems *Problems) (*Graph, error) {
	l := &loader{
		problems: problems, cache: map[compiledKey]compiled{}, terms: map[string]bool{},
		graph: &Graph{
			Fields: map[string]*Field{}, Cautions: map[string]*Caution{}, byID: map[string]*State{}, Hash: b.hash(),
		},
	}
	for _, step := range []func(){
		func() { l.readFiles(b) },
		l.checkHeader,
		l.checkParts,
		l.draftStates,
		l.linkStates,
		l.checkSafety,
		l.checkPaths,
	} {
		step()
		if err := problems.failed(); err != nil {
			return nil, err
		}
	}
	return l.graph, nil
}

// readFiles decodes every file into its type.
func (l *loader) readFiles(b Bundle) {
	l.flow = l.readFile(b, b.Flow+".yaml", &l.raw)
	var cautions rawCautions
	l.cautions = l.readFile(b, cautionsFile, &cautions)
	var glossary rawGlossary
	l.glossary = l.readFile(b, glossaryFile, &glossary)
	l.causes = l.readFile(b, causesFile, &l.graph.Causes)
	if l.raw.Platform != "" {
		l.readPlatform(b)
	}
	g := l.graph
	g.Name, g.Title, g.Version = l.raw.Flow, l.raw.Title, l.raw.Version
	g.Start, g.StopState = l.raw.Start, l.raw.Stop
	g.Glossary = glossary.Terms
	for i := range l.raw.Fields {
		l.register("field", l.flow, fmt.Sprintf("fields[%d].name", i), l.raw.Fields[i].Name, g.Fields[l.raw.Fields[i].Name] != nil)
		g.Fields[l.raw.Fields[i].Name] = &l.raw.Fields[i]
	}
	l.warned = cautions.Cautions
	for i := range l.warned {
		c := &l.warned[i]
		l.register("caution", l.cautions, fmt.Sprintf("cautions[%d].id", i), c.ID, g.Cautions[c.ID] != nil)
		g.Cautions[c.ID] = c
	}
	if b.Flow != l.raw.Flow && l.raw.Flow != "" {
		l.flow.refuse("flow", "Rename the file or the flow.", "The flow calls itself %q, its file %q.", l.raw.Flow, b.Flow)
	}
}

func (l *loader) readPlatform(b Bundle) {
	id := l.raw.Platform
	file := platformFile(id)
	if _, ok := b.Files[file]; !ok {
		l.flow.refuse("platform", "Add the file, or correct the id. Write the key at the start of its line.", "There is no file %s.", file)
		return
	}
	l.platform = l.readFile(b, file, &l.graph.Platform)
	if got := l.graph.Platform.ID; got != id && got != "" {
		l.platform.refuse("id", "Rename the file or the platform.", "The platform calls itself %q, its file %q.", got, id)
	}
}

// readFile decodes one file of the bundle.
func (l *loader) readFile(b Bundle, file string, into any) *document {
	text, ok := b.Files[file]
	d := newDocument(file, text, l.problems)
	if !ok {
		d.refuse("", "Add the file to the folder.", "The file is missing.")
		return d
	}
	if n := d.read(text); n != nil {
		d.decode(n, reflect.ValueOf(into).Elem(), "")
	}
	return d
}

// register checks a name when it is defined.
func (l *loader) register(what string, d *document, path, name string, taken bool) {
	switch {
	case name == "":
		d.refuse(path, "Give it one.", "This %s has no name.", what)
	case !namePattern.MatchString(name):
		d.refuse(path, "Use lower-case letters, digits, - and _, at most 40 of them, and begin with a letter.", "The %s cannot be called %q.", what, name)
	case taken:
		d.refuse(path, "Rename one of them.", "There are two %ss called %q.", what, name)
	}
}

// checkParts checks everything that states refer to.
func (l *loader) checkParts() {
	l.checkPlain(l.flow, "title", l.raw.Title)
	l.checkGlossary()
	l.checkFields()
	l.checkCautions()
	l.checkPlatform()
	l.checkPriors()
	l.checkCauses()
	l.checkStages()
}

func (l *loader) checkHeader() {
	for _, key := range []string{"version", "stages", "states"} {
		if !l.flow.has(key) {
			l.flow.refuse("", "Add it.", "The flow has no %s.", key)
		}
	}
	l.require(l.flow, "", "flow", map[string]string{
		"flow": l.raw.Flow, "title": l.raw.Title, "start": l.raw.Start, "stop": l.raw.Stop, "platform": l.raw.Platform,
	})
	if l.raw.Version < 1 && l.flow.has("version") {
		l.flow.refuse("version", "Write 1 or more.", "A version is counted from 1.")
	}
}

func (l *loader) checkStages() {
	seen := map[string]bool{}
	for i, st := range l.raw.Stages {
		path := fmt.Sprintf("stages[%d]", i)
		l.register("stage", l.flow, path+".id", st.ID, seen[st.ID])
		seen[st.ID] = true
		l.require(l.flow, path, "stage", map[string]string{"title": st.Title, "purpose": st.Purpose})
		l.checkPlain(l.flow, path+".title", st.Title)
		l.checkPlain(l.flow, path+".purpose", st.Purpose)
		if st.Minutes[0] < 0 || st.Minutes[1] < st.Minutes[0] {
			l.flow.refuse(path+".minutes", "Write [least, most].", "The span runs from %d to %d minutes.", st.Minutes[0], st.Minutes[1])
		}
		for j, p := range st.Patterns {
			if _, ok := l.raw.Patterns[p]; !ok {
				l.flow.refuse(fmt.Sprintf("%s.patterns[%d]", path, j), meant(p, keys(l.raw.Patterns)), "There is no pattern called %q.", p)
			}
		}
		l.graph.Stages = append(l.graph.Stages, st.Stage)
	}
	for name, set := range l.raw.BranchSets {
		if len(set) == 0 {
			l.flow.refuse("branch_sets."+name, "Add a branch.", "The branch set %q is empty.", name)
		}
	}
}

// require refuses texts that are missing, in a fixed order.
func (l *loader) require(d *document, path, what string, texts map[string]string) {
	for _, key := range keys(texts) {
		if strings.TrimSpace(texts[key]) == "" {
			d.refuse(join(path, key), "Add it.", "This %s has no %s.", what, key)
		}
	}
}

func keys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
