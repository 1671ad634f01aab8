package httpapi

import (
	"github.com/labstack/echo/v4"

	"belay/internal/calc"
)

// calculator answers with what one of the models makes of the inputs.
func calculator(name string) echo.HandlerFunc {
	return func(c echo.Context) error {
		body, err := jsonBody(c)
		if err != nil {
			return err
		}
		r, err := calc.Run(name, body)
		return reply(c, r, err)
	}
}
