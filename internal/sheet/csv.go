package sheet

import (
	"bytes"
	"encoding/csv"
	"strings"

	"belay/internal/fault"
)

// CSV returns one row for every setting, in the order in which one enters
// them. Text that a spreadsheet would take for a formula gets a ' in front;
// numbers that the program formatted do not. Notices come first, as rows
// without a value whose setting is "notice".
func CSV(d Data) ([]byte, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	rows := [][]string{{"setting", "name", "value", "unit", "also_called", "stock", "evidence"}}
	for _, b := range d.banners() {
		rows = append(rows, []string{"notice", b, "", "", "", "", ""})
	}
	for i, l := range d.lines() {
		value, stock := l.Bare, "automatic"
		if l.Text {
			value = neutral(value)
		}
		if e := entries[i]; e.value(d.Stock) != nil {
			stock = e.bare(d.Stock)
			if l.Text {
				stock = neutral(stock)
			}
		}
		evidence := l.Evidence
		if !l.Enter {
			value, evidence = "as delivered", ""
		}
		rows = append(rows, []string{l.Name, neutral(l.Label), value, l.Unit, neutral(l.Also), stock, neutral(evidence)})
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.WriteAll(rows); err != nil {
		return nil, fault.Wrap("sheet.CSV", err)
	}
	return b.Bytes(), nil
}

// neutral keeps a spreadsheet from running a cell as a formula. The leading
// characters are those of OWASP's advice on CSV injection, and line feed and NUL.
func neutral(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r\n\x00", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}
