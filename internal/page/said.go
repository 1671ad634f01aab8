package page

import (
	"fmt"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
)

// draftView is a draft to be put into the report, as inputs of its form.
type draftView struct {
	Prompt   string
	ReadBack []string
	Inputs   []inputView
}

type inputView struct{ Name, Value string }

func replyOf(base string, r assist.Reply) *replyView {
	v := &replyView{Text: linkedAll(base, wording.Paragraphs(r.Text)), Choices: r.Choices, Command: r.Command}
	if r.Draft != nil {
		v.Draft = &draftView{Prompt: r.Draft.Prompt, ReadBack: r.Draft.ReadBack, Inputs: inputsOf(r.Draft.Values)}
	}
	return v
}

// inputsOf prints values as a person would type them, under the names of the
// form.
func inputsOf(values trial.Values) []inputView {
	var out []inputView
	for _, name := range values.Names() {
		rows, ok := values[name].([]trial.Row)
		if !ok {
			out = append(out, inputView{name, known(values[name])})
			continue
		}
		for i, row := range rows {
			for column, x := range row {
				out = append(out, inputView{fmt.Sprintf("%s.%d.%s", name, i, column), wording.Number(x)})
			}
		}
	}
	slices.SortFunc(out, func(a, b inputView) int {
		if a.Name < b.Name {
			return -1
		}
		return 1
	})
	return out
}

// fill shows the present step with values typed in. It saves nothing.
func (p *pages) fill(c echo.Context) error {
	form := map[string][]string{}
	for name, values := range c.Request().PostForm {
		if name != "prompt" {
			form[name] = values
		}
	}
	prompt := c.Request().PostForm.Get("prompt")
	now, err := p.guide.Prompt(c.Request().Context(), c.Param("id"))
	if err != nil {
		return err
	}
	if now.ID != prompt {
		return p.after(c, fault.New(fault.Conflict, "This step was already answered.", "Say it again for the present step."), typedForm{})
	}
	page, err := p.load(c.Request().Context(), c.Param("id"), typedForm{values: only(now.Fields, form)})
	if err != nil {
		return err
	}
	page.Filled = true
	page.Notice = "These values are typed in below. Nothing is saved yet: check them, then save the report."
	return p.render.send(c, http.StatusOK, "session", page)
}

// only keeps the inputs of the prompt's fields.
func only(fields []session.Field, form map[string][]string) map[string][]string {
	out := map[string][]string{}
	for name, values := range form {
		if slices.ContainsFunc(fields, func(f session.Field) bool { return f.Name == ownerOf(name) }) {
			out[name] = values
		}
	}
	return out
}
