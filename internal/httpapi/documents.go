package httpapi

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/card"
	"belay/internal/chart"
	"belay/internal/fault"
	"belay/internal/paper"
	"belay/internal/sheet"
)

// alone are the style and script blocks of the documents that stand alone, by
// the end of their route.
var alone = []struct{ route, style, script string }{
	{"/sheet", paper.Source(sheet.Style()), ""},
	{"/card", paper.Source(card.Style()), paper.Source(card.Script())},
	{"/charts/:file", paper.Source(chart.Style()), ""},
}

// blocks returns what the content policy of a route allows beside the page's
// own files.
func blocks(route string) (styles, scripts string) {
	for _, a := range alone {
		if strings.HasSuffix(route, a.route) {
			return " " + a.style, " " + a.script
		}
	}
	return "", ""
}

// chart sends one chart as a picture.
func (s *Server) chart(c echo.Context) error {
	name, ok := strings.CutSuffix(c.Param("file"), ".svg")
	if !ok {
		return fault.New(fault.NotFound, "Charts end in .svg.", "Ask for need.svg, heat.svg, gain.svg or timeline.svg.")
	}
	d, err := s.config.Assist.Chart(c.Request().Context(), c.Param("id"), name)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, d.MediaType, d.Body)
}

// card sends the card of the present step. Without a page around it, it takes
// no answer.
func (s *Server) card(c echo.Context) error {
	d, err := s.config.Assist.Card(c.Request().Context(), c.Param("id"))
	if err != nil {
		return err
	}
	body, err := card.HTML(d)
	if err != nil {
		return err
	}
	return c.HTMLBlob(http.StatusOK, body)
}

// compare puts sessions side by side.
func (s *Server) compare(c echo.Context) error {
	x, err := s.config.Assist.Compare(c.Request().Context(), strings.Split(c.QueryParam("ids"), ","))
	return reply(c, x, err)
}

func (s *Server) outlook(c echo.Context) error {
	x, err := s.config.Assist.Outlook(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}
