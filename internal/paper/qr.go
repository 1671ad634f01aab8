package paper

import (
	"fmt"
	"html"
	"strings"

	"rsc.io/qr"

	"belay/internal/fault"
)

// MostQR is the longest text that a code takes, in bytes. Chosen: version 19
// at level M, 93 modules across, which a phone still reads from a screen.
// ISO/IEC 18004 gives 624 bytes for it; the rest is reserve.
const MostQR = 600

// Quiet is the light margin that a code needs on each side, in modules.
// Source: ISO/IEC 18004, section on the quiet zone.
const Quiet = 4

// Code is a QR code of plain text.
type Code struct {
	Size int   // modules across, without the margin
	Dark []Run // the dark modules, row by row
}

// Run is a row of dark modules side by side.
type Run struct{ X, Y, Width int }

// QR encodes text at level M. It returns a Limit fault for text of more than
// MostQR bytes, and an Invalid one for none.
func QR(text string) (Code, error) {
	switch {
	case text == "":
		return Code{}, fault.New(fault.Invalid, "A code needs a text.", "Give one.")
	case len(text) > MostQR:
		return Code{}, fault.Newf(fault.Limit, "Shorten the text.", "The text has %d bytes; a code takes %d.", len(text), MostQR)
	}
	q, err := qr.Encode(text, qr.M)
	if err != nil {
		return Code{}, fault.Wrap("paper.QR", err)
	}
	c := Code{Size: q.Size}
	for y := range q.Size {
		for x := 0; x < q.Size; x++ {
			from := x
			for x < q.Size && q.Black(x, y) {
				x++
			}
			if x > from {
				c.Dark = append(c.Dark, Run{from, y, x - from})
			}
		}
	}
	return c, nil
}

// SVG draws the code black on white with its margin, whatever the theme, so
// that every reader takes it. name says what the code holds.
func (c Code) SVG(name string) string {
	all := c.Size + 2*Quiet
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="qr" viewBox="0 0 %d %d" role="img" aria-label="%s" shape-rendering="crispEdges">`,
		all, all, html.EscapeString(name))
	fmt.Fprintf(&b, `<path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`, all, all)
	for _, r := range c.Dark {
		fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", r.X+Quiet, r.Y+Quiet, r.Width, r.Width)
	}
	b.WriteString(`"/></svg>`)
	return b.String()
}
