package sheet

import (
	"fmt"
	"strings"
)

// Markdown returns the sheet as plain text that also renders as a page.
func Markdown(d Data) ([]byte, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	p("# Settings sheet: %s\n", plain(or(d.Title, "my PC")))
	for _, text := range d.banners() {
		p("> **%s**\n", text)
	}
	p("Session %s, %s\n", plain(or(d.SessionID, "not known")), d.Made.Format("2 January 2006"))
	d.markdownSettings(p)
	p("## What is proven\n")
	p("%s\n", plain(strings.TrimSpace(d.proven()+" "+d.otherThanKeep())))
	p("%s\n", d.notProven())
	if behind := d.behind(); len(behind) > 0 {
		facts(p, "Numbers behind it", behind)
	}
	facts(p, "Conditions", d.conditions())
	facts(p, "Gains", d.gains())
	numbered(p, "After a firmware reset", d.reEnter())
	numbered(p, "Back to stock", backToStock())
	p("## When to check again\n")
	for _, r := range d.rechecks() {
		p("- **%s.** %s", r.When, strings.Join(r.First, " "))
	}
	p("")
	if cautions := d.cautions(); len(cautions) > 0 {
		p("## Cautions\n")
		for _, c := range cautions {
			p("- **%s** %s", plain(c.Signal), plain(strings.Join([]string{c.Hazard, c.Consequence, c.Avoid}, " ")))
		}
		p("")
	}
	if note := strings.TrimSpace(d.Note); note != "" {
		p("## Note\n")
		p("%s\n", plain(note))
	}
	return []byte(strings.TrimRight(b.String(), "\n") + "\n"), nil
}

func (d Data) markdownSettings(p func(string, ...any)) {
	p("## Enter these, from top to bottom\n")
	p("| setting | value | also called | as delivered | evidence |")
	p("|---|---|---|---|---|")
	for _, block := range d.blocks() {
		for _, r := range block.Rows {
			value, stock := r.Value, r.Stock
			if r.Text {
				value, stock = plain(value), plain(stock)
			}
			p("| %s | **%s** | %s | %s | %s |", r.Label, value, r.Also, stock, r.Evidence)
		}
	}
	p("")
	if left := d.left(); left != "" {
		p("Leave as delivered: %s.\n", left)
	}
}

func facts(p func(string, ...any), title string, list []fact) {
	p("## %s\n", title)
	for _, f := range list {
		p("- %s: %s", f.Name, typed(f.Value))
	}
	p("")
}

// typed is plain for text after other words on its line.
func typed(text string) string { return strings.TrimPrefix(plain("a "+text), "a ") }

func numbered(p func(string, ...any), title string, steps []string) {
	p("## %s\n", title)
	for i, s := range steps {
		p("%d. %s", i+1, plain(s))
	}
	p("")
}

var escapes = strings.NewReplacer(`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`,
	"<", "&lt;", ">", "&gt;", "&", "&amp;", "|", `\|`, "~", `\~`)

// lineMarks would start a list, a heading or a rule at the start of a line.
const lineMarks = "+-=#"

// plain makes typed text harmless in Markdown: one line, nothing that marks up.
func plain(text string) string {
	text = escapes.Replace(strings.Join(strings.Fields(text), " "))
	if text != "" && strings.ContainsRune(lineMarks, rune(text[0])) {
		return `\` + text
	}
	return text
}
