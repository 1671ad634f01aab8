package httpapi

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// every holds the methods that some path has, or answers with 405 by name.
var every = []string{
	http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions,
}

// longestKey bounds an Idempotency-Key, in characters. Chosen: twice the
// longest form of a UUID or digest that programs use.
const longestKey = 128

// wire refuses requests whose outer form Belay has no use for.
func (s *Server) wire(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if !slices.Contains(every, r.Method) {
			c.Response().Header().Set(echo.HeaderAllow, strings.Join(every, ", "))
			return echo.ErrMethodNotAllowed
		}
		if r.Header.Get("Upgrade") != "" {
			return echo.NewHTTPError(http.StatusBadRequest, "Belay speaks plain HTTP and nothing else.")
		}
		keys := r.Header.Values("Idempotency-Key")
		if len(keys) > 1 || len(keys) == 1 && !validKey(keys[0]) {
			return fault.Newf(fault.Invalid, "Make a new random one for each answer.",
				"The Idempotency-Key must be one word of at most %d letters, digits and signs.", longestKey)
		}
		return next(c)
	}
}

func validKey(key string) bool {
	return key != "" && len(key) <= longestKey && !strings.ContainsFunc(key, func(r rune) bool { return r <= ' ' || r > '~' })
}

// ranged adds what a step asks for to a fault about one of its values.
func (s *Server) ranged(c echo.Context, err error) error {
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Fields) == 0 {
		return err
	}
	p, perr := s.config.Assist.Prompt(c.Request().Context(), c.Param("id"))
	if perr != nil {
		return perr
	}
	told := *f
	told.Fields = slices.Clone(f.Fields)
	for i, x := range told.Fields {
		name, ok := strings.CutPrefix(x.Field, "values.")
		if !ok {
			continue
		}
		told.Fields[i].Field = name
		for _, field := range p.Fields {
			if field.Name == name && field.Min != nil && field.Max != nil {
				told.Fields[i].Message += fmt.Sprintf(" %s: enter a value from %g to %g %s.", field.Label, *field.Min, *field.Max, field.Unit)
			}
		}
	}
	return &told
}
