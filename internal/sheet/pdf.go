package sheet

import (
	"bytes"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"

	"belay/internal/fault"
	"belay/internal/paper"
)

// The printed page, in millimetres. Chosen: what both A4 and Letter can print,
// so that one file serves both.
const (
	paperWidth, paperHeight = 210, 297
	left, top               = 13, 10
	inner, bottom           = 184, 266
	codeWide                = 36
)

// PDF returns the sheet as one page. Its letters are as large as the page
// allows; long notes and the less grave cautions are cut as in HTML.
func PDF(d Data) ([]byte, error) {
	p, code, err := d.page()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	for size := 9.5; ; size -= 0.25 {
		w := newPDF(d, size)
		w.sheet(p, code)
		if w.GetY() > bottom && size > 5 {
			continue
		}
		if err := w.Output(&b); err != nil {
			return nil, fault.Wrap("sheet.PDF", err)
		}
		return b.Bytes(), nil
	}
}

// writer sets the sheet in letters of one size, in points.
type writer struct {
	*fpdf.Fpdf
	size float64
}

func newPDF(d Data, size float64) *writer {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: paperWidth, Ht: paperHeight}})
	f.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	f.SetCatalogSort(true)
	f.SetCreationDate(d.Made)
	f.SetModificationDate(d.Made)
	f.SetProducer("Belay", true)
	f.SetTitle("Settings sheet: "+short(or(d.Title, "my PC"), mostTitle), true)
	f.SetLang("en")
	f.SetMargins(left, top, paperWidth-left-inner)
	f.SetAutoPageBreak(false, 0)
	f.SetCellMargin(0)
	f.SetLineWidth(0.2)
	f.AddPage()
	return &writer{f, size}
}

func (w *writer) line() float64 { return w.size * 0.3528 * 1.22 } // points to mm, and room between lines

// write sets text from x on, w wide, and moves below it.
func (w *writer) write(x, wide float64, style, text string) {
	w.SetFont("sans", style, w.size)
	w.SetX(x)
	w.MultiCell(wide, w.line(), text, "", "L", false)
}

func (w *writer) heading(x, wide float64, text string) {
	w.SetY(w.GetY() + w.line()*0.5)
	w.write(x, wide, "B", text)
	w.SetY(w.GetY() + 0.3)
}

func (w *writer) rule(x, wide, thick float64) {
	w.SetLineWidth(thick)
	w.Line(x, w.GetY(), x+wide, w.GetY())
	w.SetY(w.GetY() + 0.5)
}

// sheet sets the whole page.
func (w *writer) sheet(p page, code paper.Code) {
	w.SetFont("sans", "B", w.size*1.5)
	w.SetXY(left, top)
	w.MultiCell(inner, w.line()*1.5, "Settings sheet: "+p.Title, "", "L", false)
	w.write(left, inner, "", p.Made+" · session "+p.Session)
	w.rule(left, inner, 0.5)
	for _, b := range p.Banners {
		w.SetFont("sans", "B", w.size*1.15)
		w.SetX(left)
		w.MultiCell(inner, w.line()*1.4, "! "+b, "1", "C", false)
	}
	w.heading(left, inner, "Enter these, from top to bottom")
	w.table(p)
	if p.Left != "" {
		w.write(left, inner, "", "Leave as delivered: "+p.Left+".")
	}
	w.heading(left, inner, "What is proven")
	w.write(left, inner, "", p.Proven+p.otherTail()+" "+p.NotProven)
	start := w.GetY()
	const gap = 6.0
	wide := (inner - gap) / 2
	w.leftColumn(p, left, wide)
	low := w.GetY()
	w.SetY(start)
	w.rightColumn(p, code, left+wide+gap, wide)
	if low > w.GetY() {
		w.SetY(low)
	}
}

// columns of the table: setting, value, other words, as delivered, evidence.
var columns = []float64{38, 27, 43, 22, 54}

func (w *writer) table(p page) {
	w.row([]string{"Setting", "Value", "Also called", "As delivered", "  Evidence"}, "")
	w.rule(left, inner, 0.3)
	for _, b := range p.Blocks {
		from := w.GetY()
		w.SetXY(0, from)
		w.write(left+inner-columns[4]+2, columns[4]-2, "", b.Evidence)
		low := w.GetY()
		w.SetY(from)
		for _, r := range b.Rows {
			w.row([]string{r.Label, r.Value, r.Also, r.Stock, ""}, "B")
		}
		if low > w.GetY() {
			w.SetY(low)
		}
		w.rule(left, inner, 0.1)
	}
	if len(p.Blocks) == 0 {
		w.write(left, inner, "", "Nothing: this PC runs as delivered.")
	}
}

// row sets one line of the table, its value in the given style.
func (w *writer) row(cells []string, style string) {
	y, low, x := w.GetY(), 0.0, float64(left)
	for i, c := range cells {
		s := ""
		if i == 1 {
			s = style
		}
		w.SetY(y)
		w.write(x, columns[i]-2, s, c)
		low = max(low, w.GetY())
		x += columns[i]
	}
	w.SetY(low)
}

func (w *writer) facts(x, wide float64, facts []fact) {
	for _, f := range facts {
		y := w.GetY()
		w.write(x, wide*0.42, "", f.Name)
		low := w.GetY()
		w.SetY(y)
		w.write(x+wide*0.44, wide*0.56, "", f.Value)
		w.SetY(max(low, w.GetY()))
	}
}

func (w *writer) list(x, wide float64, items []string, mark func(int) string) {
	for i, item := range items {
		y := w.GetY()
		w.write(x, 4, "", mark(i))
		w.SetY(y)
		w.write(x+4, wide-4, "", item)
	}
}

func counted(i int) string { return string(rune('1'+i)) + "." }

// lead sets a paragraph that begins with bold words.
func (w *writer) lead(x, wide float64, bold, text string) {
	w.SetY(w.GetY() + 0.4)
	w.SetLeftMargin(x)
	w.SetRightMargin(paperWidth - x - wide)
	w.SetX(x)
	w.SetFont("sans", "B", w.size)
	w.Write(w.line(), bold)
	w.SetFont("sans", "", w.size)
	w.Write(w.line(), " "+text)
	w.Ln(w.line())
	w.SetMargins(left, top, paperWidth-left-inner)
}

func (w *writer) leftColumn(p page, x, wide float64) {
	w.heading(x, wide, "Conditions")
	w.facts(x, wide, p.Conditions)
	w.heading(x, wide, "Gains")
	w.facts(x, wide, p.Gains)
	w.heading(x, wide, p.AfterReset)
	w.list(x, wide, p.ReEnter, counted)
	w.heading(x, wide, "Back to stock")
	w.list(x, wide, p.Back, counted)
	if len(p.Cautions) > 0 {
		w.heading(x, wide, "Cautions")
		for _, c := range p.Cautions {
			w.lead(x, wide, c.Signal, c.Text)
		}
		if more := p.More(); more != "" {
			w.write(x, wide, "", more)
		}
	}
}

func (w *writer) rightColumn(p page, code paper.Code, x, wide float64) {
	w.heading(x, wide, "The same as a code")
	y := w.GetY()
	w.code(code, x, y)
	w.SetY(y)
	w.write(x+codeWide+3, wide-codeWide-3, "", codeHint)
	w.SetY(max(w.GetY(), y+codeWide))
	w.heading(x, wide, "Check back")
	w.write(x, wide, "", p.CheckBack.Look)
	w.blanks(p, x, wide)
	w.write(x, wide, "", p.CheckBack.Tail)
	w.heading(x, wide, "What to check first")
	for _, r := range p.Rechecks {
		w.lead(x, wide, r.When+".", strings.Join(r.First, " "))
	}
	if p.Note != "" {
		w.heading(x, wide, "Note")
		w.write(x, wide, "", p.Note)
	}
}

// blanks rules the lines to fill in.
func (w *writer) blanks(p page, x, wide float64) {
	heads := checkHeads
	cell := wide / float64(len(heads))
	high := w.line() * 1.5
	w.SetLineWidth(0.1)
	w.SetFont("sans", "", w.size*0.9)
	w.SetCellMargin(1)
	defer w.SetCellMargin(0)
	for i, h := range heads {
		w.SetXY(x+cell*float64(i), w.GetY())
		w.CellFormat(cell, high, h, "1", 0, "L", false, 0, "")
	}
	w.Ln(high)
	for _, date := range p.CheckBack.Dates {
		w.SetX(x)
		w.CellFormat(cell, high, date, "1", 0, "L", false, 0, "")
		for range heads[1:] {
			w.CellFormat(cell, high, "", "1", 0, "L", false, 0, "")
		}
		w.Ln(high)
	}
	w.SetY(w.GetY() + 0.6)
}

// code draws the modules as black areas, with their light margin.
func (w *writer) code(c paper.Code, x, y float64) {
	one := codeWide / float64(c.Size+2*paper.Quiet)
	w.SetFillColor(0, 0, 0)
	for _, r := range c.Dark {
		w.Rect(x+one*float64(r.X+paper.Quiet), y+one*float64(r.Y+paper.Quiet), one*float64(r.Width), one, "F")
	}
}
