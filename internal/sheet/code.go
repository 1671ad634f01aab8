package sheet

import (
	"strings"

	"belay/internal/paper"
	"belay/internal/wording"
)

// codeLines lists what to enter as plain text, for the QR code and for a
// reader without the table.
func (d Data) codeLines() []string {
	out := []string{"Belay settings, " + d.Made.Format("2 Jan 2006")}
	if d.Practice {
		out[0] = PracticeBanner
	}
	for _, b := range d.blocks() {
		for _, l := range b.Rows {
			value := strings.Join(strings.Fields(strings.ReplaceAll(l.Value, wording.NBSP, " ")), " ")
			if runes := []rune(value); len(runes) > mostCodeValue {
				value = string(runes[:mostCodeValue-1]) + "…"
			}
			out = append(out, l.Label+": "+value)
		}
	}
	return append(out, "All else as delivered.")
}

// mostCodeValue bounds one value in the code, in characters. Chosen: every
// setting then fits into one code.
const mostCodeValue = 24

// code returns the QR code of the settings.
func (d Data) code() (paper.Code, error) { return paper.QR(strings.Join(d.codeLines(), "\n")) }
