package httpapi

import "github.com/labstack/echo/v4"

// Echo is the router, so that tests can look at the routes and add some.
func (s *Server) Echo() *echo.Echo { return s.echo }

// PhoneMay is what phones may do.
var PhoneMay = phoneMay
