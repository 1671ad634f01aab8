package page

import (
	"bytes"
	"html/template"
	"net/http"

	"github.com/labstack/echo/v4"

	"belay/internal/card"
	"belay/internal/fault"
	"belay/internal/paper"
)

// cardForm is what the template of the answer form asks for.
type cardForm struct {
	Base  string
	Step  stepView
	Sheet bool
	Error *errorView
}

// card shows the card to take along, with the form of the present step.
func (p *pages) card(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	d, err := p.guide.Card(ctx, id)
	if err != nil {
		return err
	}
	view, err := p.guide.View(ctx, id)
	if err != nil {
		return err
	}
	d.Path = baseOf(view.ID)
	step := stepOf(d.Path, view, d.Prompt, typedForm{})
	step.Simulate = nil // a card is for a PC that restarts
	var form bytes.Buffer
	if err := p.render.set.ExecuteTemplate(&form, "answer", cardForm{Base: d.Path, Step: step}); err != nil {
		return fault.Wrap("page.card", err)
	}
	d.Form = template.HTML(form.String()) // escaped by the template
	body, err := card.HTML(d)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.HTMLBlob(http.StatusOK, body)
}

// cardCode sends the lines of the card as a QR code.
func (p *pages) cardCode(c echo.Context) error {
	d, err := p.guide.Card(c.Request().Context(), c.Param("id"))
	if err != nil {
		return err
	}
	code, err := paper.QR(card.Text(d))
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "image/svg+xml", []byte(code.SVG("The lines of the card as a code")))
}
