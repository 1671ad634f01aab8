package page

import (
	"html/template"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/chart"
)

// chartsPage shows every chart with its words and its numbers.
type chartsPage struct {
	Frame  frame
	Base   string
	Title  string
	Charts []chartView
}

// chartView is one chart. Picture is drawn by package chart, which escapes
// every text that a person typed.
type chartView struct {
	Name, Title, Says string
	Picture           template.HTML
	Head              []string
	Rows              [][]string
	Empty             bool
}

func chartViews(in []chart.Chart) []chartView {
	out := make([]chartView, 0, len(in))
	for _, c := range in {
		out = append(out, chartView{
			Name: c.Name, Title: c.Title, Says: c.Says, Picture: template.HTML(c.Inline()),
			Head: c.Table.Head, Rows: c.Table.Rows, Empty: c.Empty,
		})
	}
	return out
}

// charts shows all charts of a session.
func (p *pages) charts(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	view, err := p.guide.View(ctx, id)
	if err != nil {
		return err
	}
	all, err := p.guide.Charts(ctx, id)
	if err != nil {
		return err
	}
	base := baseOf(view.ID)
	return p.render.send(c, http.StatusOK, "charts", chartsPage{
		Frame: p.frame("chart", "Charts – "+view.Title, base), Base: base, Title: view.Title, Charts: chartViews(all),
	})
}

// chart sends one chart as a picture.
func (p *pages) chart(c echo.Context) error {
	name, ok := strings.CutSuffix(c.Param("file"), ".svg")
	if !ok {
		return noSuchPage()
	}
	d, err := p.guide.Chart(c.Request().Context(), c.Param("id"), name)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, d.MediaType, d.Body)
}
