package page

import (
	"cmp"
	"net/http"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"belay/internal/flow"
	"belay/internal/wording"
)

// partPage is one part of a session on a page of its own: the ladder, the
// evidence or the whole notebook.
type partPage struct {
	Frame    frame
	Base     string
	Title    string
	Heading  string
	Part     string
	Ladder   []rungView
	Progress string
	Left     []piece
	Evidence evidenceView
	Entries  []entryView
}

var partHeadings = map[string]string{"ladder": "Ladder of stages", "evidence": "Evidence", "history": "Notebook"}

// part shows one part of a session.
func (p *pages) part(name string) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx, id := c.Request().Context(), c.Param("id")
		view, err := p.guide.View(ctx, id)
		if err != nil {
			return err
		}
		base := baseOf(view.ID)
		page := partPage{
			Frame: p.frame("part", partHeadings[name]+" – "+view.Title, base), Base: base, Title: view.Title,
			Heading: partHeadings[name], Part: name, Ladder: ladderOf(view.Stages), Progress: progress(view.Stages),
		}
		outlook, err := p.guide.Outlook(ctx, view.ID)
		if err != nil {
			return err
		}
		page.Left = linked(base, outlook.Left.Sentence)
		switch name {
		case "history":
			history, err := p.guide.History(ctx, id)
			if err != nil {
				return err
			}
			page.Entries = entriesOf(base, view.Stages, history)
		case "evidence":
			trials, err := p.guide.Trials(ctx, id)
			if err != nil {
				return err
			}
			page.Evidence = evidenceOf(base, view, trials)
			page.Evidence.setOutlook(outlook)
		}
		return p.render.send(c, http.StatusOK, "part", page)
	}
}

// glossaryPage explains the terms of the session's flow.
type glossaryPage struct {
	Frame  frame
	Base   string
	Title  string
	Groups []termGroup
}

// termGroup holds the terms of one initial.
type termGroup struct {
	Letter string
	Terms  []termView
}

// termView is one term. Its other words are anchors too.
type termView struct {
	Anchor, Term string
	Also         []alsoView
	Text         [][]piece
}

type alsoView struct{ Anchor, Word string }

// glossary shows every term with its anchor.
func (p *pages) glossary(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	view, err := p.guide.View(ctx, id)
	if err != nil {
		return err
	}
	terms, err := p.guide.Glossary(ctx, id)
	if err != nil {
		return err
	}
	base := baseOf(view.ID)
	return p.render.send(c, http.StatusOK, "glossary", glossaryPage{
		Frame: p.frame("glossary", "Glossary – "+view.Title, base), Base: base, Title: view.Title,
		Groups: termGroups(base, terms),
	})
}

func termGroups(base string, terms []flow.Term) []termGroup {
	sorted := slices.SortedFunc(slices.Values(terms), func(a, b flow.Term) int {
		return cmp.Compare(strings.ToLower(a.Term), strings.ToLower(b.Term))
	})
	seen := map[string]bool{}
	var out []termGroup
	for _, t := range sorted {
		v := termView{Anchor: once(seen, slug(t.Term)), Term: t.Term, Text: linkedAll(base, wording.Paragraphs(t.Text))}
		for _, word := range t.Also {
			v.Also = append(v.Also, alsoView{once(seen, slug(word)), word})
		}
		first, _ := utf8.DecodeRuneInString(t.Term)
		letter := string(unicode.ToUpper(first))
		if len(out) == 0 || out[len(out)-1].Letter != letter {
			out = append(out, termGroup{Letter: letter})
		}
		group := &out[len(out)-1]
		group.Terms = append(group.Terms, v)
	}
	return out
}

// once returns anchor the first time, then "": an id stands once on a page.
func once(seen map[string]bool, anchor string) string {
	if seen[anchor] {
		return ""
	}
	seen[anchor] = true
	return anchor
}
