package assist

import (
	"context"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/sheet"
	"belay/internal/units"
)

// sheetFormats are the forms of the settings sheet.
var sheetFormats = map[string]struct {
	ending, media string
	make          func(sheet.Data) ([]byte, error)
}{
	"html": {"html", "text/html; charset=utf-8", sheet.HTML},
	"pdf":  {"pdf", "application/pdf", sheet.PDF},
	"md":   {"md", "text/markdown; charset=utf-8", sheet.Markdown},
	"json": {"json", "application/json", sheet.JSON},
	"csv":  {"csv", "text/csv; charset=utf-8", sheet.CSV},
}

// Sheet returns the settings sheet in one of the formats html, pdf, md,
// json and csv. Before the session is finished it says so on the sheet.
func (a *Assist) Sheet(ctx context.Context, id, format string) (Document, error) {
	f, ok := sheetFormats[format]
	if !ok {
		return Document{}, fault.Newf(fault.Invalid, "Use html, pdf, md, json or csv.", "There is no sheet in the format %q.", format)
	}
	s, err := a.load(ctx, id)
	if err != nil {
		return Document{}, err
	}
	body, err := f.make(sheetData(s.State))
	if err != nil {
		return Document{}, fault.Wrap("assist.Sheet", err)
	}
	return Document{Name: "belay-sheet-" + id + "." + f.ending, MediaType: f.media, Body: body}, nil
}

func sheetData(s *session.State) sheet.Data {
	d := sheet.Data{
		Title: s.Title, SessionID: s.ID, Practice: s.Practice != nil, Made: s.Updated, Finished: s.Finished(),
		Firmware: s.Machine.Firmware, Machine: s.Machine, Settings: s.Settings, Evidence: s.Evidence(),
		Cautions: s.SheetCautions(), Trials: s.Trials, Note: s.Values.Text("note"),
	}
	if k := s.Keep(); k != nil {
		d.Settings = k.Keep
	}
	if t, ok := s.Values.Number("air_temp_c"); ok {
		d.AirTemp = units.Celsius(t)
	}
	return d
}
