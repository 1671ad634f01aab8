package httpapi

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// runTrial runs the proposed trial: in a practice session the simulated PC
// answers at once; else a built-in load starts on this PC, and what it finds
// fills in the report of the same prompt.
func (s *Server) runTrial(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	p, err := s.config.Assist.Prompt(ctx, id)
	if err != nil {
		return err
	}
	v, err := s.config.Assist.View(ctx, id)
	if err != nil {
		return err
	}
	noTrial := fault.New(fault.Conflict, "No trial is due in this step.", "Answer the present step first.")
	if v.Practice == nil {
		if !p.Trial {
			return s.stale(c, noTrial)
		}
		if err := s.config.Assist.RunTrial(ctx, id, p.ID); err != nil {
			return s.stale(c, err)
		}
		return c.JSON(http.StatusAccepted, s.config.Assist.RunningTrial(id))
	}
	due := p.ID
	if !p.Trial {
		due = "" // only a request that was carried out before gets its result again
	}
	x, err := s.config.Assist.Simulate(ctx, id, due, c.Request().Header.Get("Idempotency-Key"))
	if !p.Trial && fault.Is(err, fault.Conflict) {
		err = noTrial
	}
	return reply(c, x, s.stale(c, err))
}

// running tells how far the trial is that runs on this PC.
func (s *Server) running(c echo.Context) error {
	if _, err := s.config.Assist.View(c.Request().Context(), c.Param("id")); err != nil {
		return err
	}
	r := s.config.Assist.RunningTrial(c.Param("id"))
	if r == nil {
		return fault.New(fault.NotFound, "No trial of this session is running.", "Look at the present step.")
	}
	return c.JSON(http.StatusOK, r)
}

// stopTrial stops it.
func (s *Server) stopTrial(c echo.Context) error {
	if err := s.config.Assist.StopTrial(c.Param("id")); err != nil {
		return err
	}
	return c.NoContent(http.StatusAccepted)
}
