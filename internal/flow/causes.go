package flow

import (
	"errors"
	"fmt"
	"strings"

	"belay/internal/fault"
)

// checkCauses lets the table of causes check itself, and looks at its texts.
func (l *loader) checkCauses() {
	for i, c := range l.graph.Causes.Causes {
		l.checkPlain(l.causes, fmt.Sprintf("causes[%d].title", i), c.Title)
		l.checkPlain(l.causes, fmt.Sprintf("causes[%d].explain", i), c.Explain)
	}
	for i, t := range l.graph.Causes.Tests {
		l.checkPlain(l.causes, fmt.Sprintf("tests[%d].title", i), t.Title)
		l.checkPlain(l.causes, fmt.Sprintf("tests[%d].how", i), t.How)
	}
	err := l.graph.Causes.Validate()
	if err == nil {
		return
	}
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Fields) == 0 {
		l.causes.refuse("", "Correct the table.", "The table of causes is wrong: %v", err)
		return
	}
	for _, x := range f.Fields {
		l.causes.refuse(l.causes.named(x.Field), "See the other entries of the table.", "%s %s.", x.Field, x.Message)
	}
}

// named finds the path of a finding such as "causes heat prior": keys, and
// entries of lists by the name that they begin with.
func (d *document) named(words string) string {
	path := ""
	for _, word := range strings.Fields(words) {
		next := join(path, word)
		for i := 0; !d.has(next) && d.has(fmt.Sprintf("%s[%d]", path, i)); i++ {
			entry := fmt.Sprintf("%s[%d]", path, i)
			for _, key := range []string{".id", ".feature"} {
				if d.has(entry+key) && d.word(entry+key) == word {
					next = entry
				}
			}
		}
		if !d.has(next) {
			break
		}
		path = next
	}
	return path
}

// word is the one word that the file has at path.
func (d *document) word(path string) string {
	at := d.find(path)
	line := []rune(d.lines[at.line-1])
	word, _, _ := strings.Cut(string(line[min(at.column-1, len(line)):]), " ")
	return strings.Trim(word, `"',}`)
}
