package page

import (
	"errors"
	"html/template"
	"net"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
	"belay/internal/pair"
	"belay/internal/paper"
	"belay/internal/wording"
	"belay/web"
)

// phones are the pages that let phones in: one side on the PC, one on the
// phone.
type phones struct {
	pages
	desk *pair.Desk
	// admit gives a browser the cookie of a session.
	admit func(c echo.Context, session string)
}

// RegisterPhones adds the pages of pairing to e.
func RegisterPhones(e *echo.Echo, desk *pair.Desk, admit func(c echo.Context, session string)) error {
	static, err := newAssets(web.Files())
	if err != nil {
		return err
	}
	render, err := newRenderer(web.Files(), static.prefix)
	if err != nil {
		return err
	}
	p := &phones{pages{render: render}, desk, admit}
	e.GET("/phones", p.guarded(p.view))
	for path, do := range map[string]func(echo.Context) error{
		"/phones/code": func(echo.Context) error { return desk.Show() },
		"/phones/off":  func(echo.Context) error { desk.Close(); return nil },
		"/phones/:id/decide": func(c echo.Context) error {
			return desk.Decide(c.Param("id"), c.Request().PostForm.Get("in") == "yes")
		},
		"/phones/:id/remove": func(c echo.Context) error { return desk.Remove(c.Param("id")) },
	} {
		e.POST(path, p.guarded(limited(func(c echo.Context) error {
			if err := do(c); err != nil {
				return err
			}
			return c.Redirect(http.StatusSeeOther, "/phones")
		})))
	}
	e.GET("/pair", p.guarded(p.wait))
	e.POST("/pair", p.guarded(limited(p.ask)))
	return nil
}

// phonesPage is the side of the PC.
type phonesPage struct {
	Frame                                   frame
	Address, Until, Notice, Code, CodeUntil string
	Picture                                 template.HTML
	Asking                                  []pair.Asking
	Devices                                 []guest
}

type guest struct{ ID, Name, Address, Until string }

func (p *phones) view(c echo.Context) error {
	v := p.desk.View()
	page := phonesPage{Frame: p.frame("phones", "Phones", ""), Address: v.Address, Notice: v.Notice, Asking: v.Asking}
	if v.Address != "" {
		page.Until = clockTime(v.Until, time.Now())
	}
	if v.Code != nil {
		page.Code, page.CodeUntil = v.Code.Text, clockTime(v.Code.Until, time.Now())
		picture, err := paper.QR("http://" + v.Address + "/pair#" + v.Code.Token)
		if err != nil {
			return err
		}
		page.Picture = template.HTML(picture.SVG("The address of Belay with the code"))
	}
	for _, d := range v.Devices {
		page.Devices = append(page.Devices, guest{d.ID, d.Name, d.Address, clockTime(d.Until, time.Now())})
	}
	return p.render.send(c, http.StatusOK, "phones", page)
}

// pairPage is the side of the phone.
type pairPage struct {
	Frame   frame
	Error   *errorView
	Waiting bool
	Name    string
}

// ticketCookie holds the ticket of a phone that waits.
const ticketCookie = "belay_ticket"

// wait asks for the code, or tells what became of the request.
func (p *phones) wait(c echo.Context) error {
	page := pairPage{Frame: p.frame("pair", "Use Belay on this phone", "")}
	k, err := c.Cookie(ticketCookie)
	if err != nil {
		return p.render.send(c, http.StatusOK, "pair", page)
	}
	session, state := p.desk.Claim(k.Value)
	switch state {
	case pair.Waiting:
		page.Waiting = true
		c.Response().Header().Set("Refresh", "3")
	case pair.LetIn:
		p.ticket(c, "", -1)
		p.admit(c, session)
		return c.Redirect(http.StatusSeeOther, "/")
	default:
		p.ticket(c, "", -1)
		page.Error = &errorView{Heading: "The PC did not let this phone in.", Next: "Let the PC show a new code, and try again."}
	}
	return p.render.send(c, http.StatusOK, "pair", page)
}

func (p *phones) ticket(c echo.Context, value string, age int) {
	c.SetCookie(&http.Cookie{Name: ticketCookie, Value: value, Path: "/pair", MaxAge: age, HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

// ask sends the code on.
func (p *phones) ask(c echo.Context) error {
	form := c.Request().PostForm
	host, _, _ := net.SplitHostPort(c.Request().RemoteAddr)
	ticket, err := p.desk.Ask(form.Get("code"), form.Get("name"), host)
	if err == nil {
		p.ticket(c, ticket, int(pair.CodeLife.Seconds()))
		return c.Redirect(http.StatusSeeOther, "/pair")
	}
	f := asFault(err)
	status := statusOf(fault.CodeOf(err))
	if errors.Is(err, pair.ErrMany) {
		status = http.StatusTooManyRequests
	}
	return p.render.send(c, status, "pair", pairPage{
		Frame: p.frame("pair", "Error: Use Belay on this phone", ""), Name: form.Get("name"),
		Error: &errorView{Heading: wording.Bound(f.Msg), Next: wording.Bound(f.Next)},
	})
}
