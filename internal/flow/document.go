package flow

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Bounds of a file. Chosen: several times what a long guide needs, small
// enough that a hostile file costs little.
const (
	maxBytes = 256 << 10
	maxDepth = 32
)

// place is a position in a file, both from 1, columns in characters.
type place struct{ line, column int }

// document is one file of a flow with the place of everything in it.
type document struct {
	file     string
	lines    []string
	at       map[string]place // by path, such as states[3].do[1]
	problems *Problems
}

func newDocument(file, text string, problems *Problems) *document {
	return &document{
		file: file, lines: strings.Split(text, "\n"),
		at: map[string]place{"": {1, 1}}, problems: problems,
	}
}

// has reports whether the file holds something at path.
func (d *document) has(path string) bool { _, ok := d.at[path]; return ok }

// find returns the place of path, or of the nearest part around it.
func (d *document) find(path string) place {
	for {
		if at, ok := d.at[path]; ok {
			return at
		}
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
	}
}

// refuse adds a problem at path.
func (d *document) refuse(path, next, format string, args ...any) {
	d.refuseAt(d.find(path), next, format, args...)
}

func (d *document) refuseAt(at place, next, format string, args ...any) {
	source := ""
	if at.line >= 1 && at.line <= len(d.lines) {
		source = d.lines[at.line-1]
	}
	*d.problems = append(*d.problems, Problem{
		File: d.file, Line: at.line, Column: at.column, Source: source,
		Message: fmt.Sprintf(format, args...), Next: next,
	})
}

// read parses the text into its one mapping, or nil after a problem. Text and
// tokens are looked through first, so that nothing hostile is ever built.
func (d *document) read(text string) ast.Node {
	before := len(*d.problems)
	d.scanText(text)
	if len(*d.problems) > before {
		return nil
	}
	tokens := lexer.Tokenize(text)
	d.scanTokens(tokens)
	if len(*d.problems) > before {
		return nil
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.refuseSyntax(err)
		return nil
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		d.refuseAt(place{1, 1}, "Write the keys that the format asks for.", "The file is empty.")
		return nil
	}
	return file.Docs[0].Body
}

func (d *document) refuseSyntax(err error) {
	at, message := place{1, 1}, err.Error()
	var known yaml.Error
	if errors.As(err, &known) {
		message = known.GetMessage()
		if t := known.GetToken(); t != nil {
			at = tokenPlace(t)
		}
	}
	d.refuseAt(at, "Check the indentation, colons, quotes and brackets here and in the line above.", "This is not valid YAML: %s.", message)
}

// scanText refuses what no flow needs and what a reader cannot see.
func (d *document) scanText(text string) {
	if len(text) > maxBytes {
		d.refuseAt(place{1, 1}, "Split the guide, or shorten it.", "The file has %d bytes; at most %d are read.", len(text), maxBytes)
		return
	}
	for i, line := range d.lines {
		column := 0
		for _, r := range line {
			column++
			at := place{i + 1, column}
			switch {
			case r == '\t':
				d.refuseAt(at, "Use blanks.", "There is a tab here.")
			case r == utf8.RuneError:
				d.refuseAt(at, "Save the file as UTF-8.", "This is not UTF-8 text.")
			case unreadable(r):
				d.refuseAt(at, "Remove it.", "There is an invisible character here (U+%04X).", r)
			default:
				continue
			}
			return
		}
	}
}

// unreadable reports whether r is a control, direction or line mark that can
// make text read differently from what it is.
// Source: Unicode Technical Report 36, section 2.10 (from memory).
func unreadable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) ||
		r == '\u2028' || r == '\u2029' || r == '\u200b' || r == '\ufeff'
}

// scanTokens refuses the parts of YAML that a flow does without, and deep
// nesting, before a tree is built from them.
func (d *document) scanTokens(tokens token.Tokens) {
	content := false
	for _, t := range tokens {
		at := tokenPlace(t)
		switch t.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			d.refuseAt(at, "Write the part out, or use patterns and branch_sets. A text that begins with & or * belongs in quotes.",
				"Anchors, aliases and merge keys are not read.")
		case token.TagType:
			d.refuseAt(at, "Remove the tag. A text or condition that begins with ! belongs in quotes.", "Tags are not read.")
		case token.DirectiveType:
			d.refuseAt(at, "Remove the line. A text that begins with % belongs in quotes.", "Directives are not read.")
		case token.MappingKeyType:
			d.refuseAt(at, "Write the key as name: value.", "Keys after a question mark are not read.")
		case token.DocumentHeaderType, token.DocumentEndType:
			if !content {
				continue
			}
			d.refuseAt(at, "Keep one document in a file.", "A second document begins here.")
		default:
			content = true
			continue
		}
		return
	}
	d.scanDepth(tokens)
}

// scanDepth measures nesting by brackets and by the columns of keys and
// dashes.
func (d *document) scanDepth(tokens token.Tokens) {
	var columns []int
	brackets := 0
	for _, t := range tokens {
		column := 0
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			brackets++
		case token.SequenceEndType, token.MappingEndType:
			brackets = max(brackets-1, 0)
		case token.SequenceEntryType:
			column = t.Position.Column
		case token.MappingValueType:
			if t.Prev != nil {
				column = t.Prev.Position.Column
			}
		}
		if column > 0 && brackets == 0 {
			for len(columns) > 0 && columns[len(columns)-1] > column {
				columns = columns[:len(columns)-1]
			}
			if len(columns) == 0 || columns[len(columns)-1] < column {
				columns = append(columns, column)
			}
		}
		if len(columns)+brackets > maxDepth {
			d.refuseAt(tokenPlace(t), "Make it flatter.", "This is nested more than %d deep.", maxDepth)
			return
		}
	}
}

func tokenPlace(t *token.Token) place {
	return place{max(t.Position.Line, 1), max(t.Position.Column, 1)}
}

// nodePlace returns where the node begins: its first key, dash or letter.
func nodePlace(n ast.Node) place {
	switch n := n.(type) {
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return tokenPlace(n.Values[0].Key.GetToken())
		}
	case *ast.MappingValueNode:
		return tokenPlace(n.Key.GetToken())
	}
	return tokenPlace(n.GetToken())
}
