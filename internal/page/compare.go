package page

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/chart"
	"belay/internal/session"
	"belay/internal/wording"
)

// comparePage shows sessions side by side.
type comparePage struct {
	Frame  frame
	Names  []comparedName
	Groups []compareGroup
	Chart  chartView
}

// comparedName heads a column.
type comparedName struct {
	Letter, Title, Base string
	Practice            bool
}

// compareGroup is a run of rows under one heading.
type compareGroup struct {
	Heading string
	Rows    []compareRow
}

// compareRow is one line: the value of each session, and whether they differ.
type compareRow struct {
	Label  string
	Values []string
	Differ bool
}

// idsOf reads ids=a,b and ids=a&ids=b alike.
func idsOf(c echo.Context) []string {
	var out []string
	for _, list := range c.QueryParams()["ids"] {
		for id := range strings.SplitSeq(list, ",") {
			if id = strings.TrimSpace(id); id != "" {
				out = append(out, id)
			}
		}
	}
	return out
}

func (p *pages) compare(c echo.Context) error {
	found, err := p.guide.Compare(c.Request().Context(), idsOf(c))
	if err != nil {
		return p.listAgain(c, err)
	}
	page := comparePage{Frame: p.frame("chart", "Sessions side by side", "")}
	var sessions []chart.Session
	for i, s := range found.Sessions {
		page.Names = append(page.Names, comparedName{chart.Letter(i), s.Title, baseOf(s.ID), s.Practice})
		sessions = append(sessions, chart.Session{Name: s.Title, Evidence: s.Evidence})
	}
	page.Chart = chartViews([]chart.Chart{chart.Compare(sessions)})[0]
	page.Groups = compareGroups(found.Sessions)
	return p.render.send(c, http.StatusOK, "compare", page)
}

func compareGroups(all []assist.Compared) []compareGroup {
	rows := func(heading string, list ...compareRow) compareGroup { return compareGroup{heading, list} }
	row := func(label string, value func(assist.Compared) string) compareRow {
		r := compareRow{Label: label}
		for _, s := range all {
			v := value(s)
			r.Differ = r.Differ || len(r.Values) > 0 && v != r.Values[0]
			r.Values = append(r.Values, v)
		}
		return r
	}
	var keep []compareRow
	for _, f := range wording.Settings {
		r := row(f.Label, func(s assist.Compared) string {
			if s.Keep == nil {
				return "not yet"
			}
			return f.Value(*s.Keep)
		})
		for _, s := range all {
			if s.Keep != nil && f.IsSet(*s.Keep) {
				keep = append(keep, r)
				break
			}
		}
	}
	const none = "not enough evidence yet"
	return []compareGroup{
		rows("To keep", keep...),
		rows("Proof",
			row("Confidence", func(s assist.Compared) string {
				if k := s.Evidence.Keep; k != nil && k.Confidence != nil {
					return wording.Percent(*k.Confidence) + ", less than one failure in " + wording.Hours(k.TargetH)
				}
				return none
			}),
			row("Reserve", func(s assist.Compared) string {
				if k := s.Evidence.Keep; k != nil && k.ReserveMV != nil {
					return wording.Measure("mV", *k.ReserveMV)
				}
				return none
			})),
		rows("Gain",
			row("Over the PC as delivered", func(s assist.Compared) string { return gainOf(s.Evidence, true) }),
			row("Over the PC with the power cap lifted", func(s assist.Compared) string { return gainOf(s.Evidence, false) })),
		rows("Heat",
			row("Warming", func(s assist.Compared) string {
				if h := s.Evidence.Heat; h != nil {
					return "about " + strconv.FormatFloat(h.RthKPerW[1], 'f', 2, 64) + wording.NBSP + "°C for each watt"
				}
				return none
			}),
			row("Hottest core", func(s assist.Compared) string {
				if h := s.Evidence.Heat; h != nil && h.HottestC > 0 {
					return wording.Measure("°C", h.HottestC)
				}
				return "not read"
			}),
			row("Most package power", func(s assist.Compared) string {
				if h := s.Evidence.Heat; h != nil && h.MostPowerW > 0 {
					return wording.Measure("W", h.MostPowerW)
				}
				return "not read"
			})),
		rows("Conditions and effort",
			row("Room", func(s assist.Compared) string {
				if s.AirTempC == nil {
					return "not known"
				}
				return wording.Measure("°C", *s.AirTempC)
			}),
			row("Cooler", func(s assist.Compared) string { return orUnknown(s.Cooler) }),
			row("Firmware version", func(s assist.Compared) string { return orUnknown(s.Firmware) }),
			row("Trials", func(s assist.Compared) string {
				return strconv.Itoa(s.Trials) + ", of which " + strconv.Itoa(s.Failed) + " failed"
			}),
			row("Crashes", func(s assist.Compared) string { return strconv.Itoa(s.Crashes) }),
			row("Time under load", func(s assist.Compared) string { return wording.Minutes(s.HoursRun * 60) })),
	}
}

func gainOf(e session.Evidence, stock bool) string {
	var g *session.Gain
	if e.Gains != nil {
		g = e.Gains.OverUncapped
		if stock {
			g = e.Gains.OverStock
		}
	}
	return appendGain(nil, "", g)[0].Value
}

func orUnknown(text string) string {
	if text == "" {
		return "not known"
	}
	return text
}
