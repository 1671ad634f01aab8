package page

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/session"
)

func TestRestartIsSaidToBeSafeOnlyWhenItIs(t *testing.T) {
	prompt := enterPrompt()
	read := func(r *session.Restart) string {
		prompt.Restart = r
		g := newFake()
		g.add("a", &fakeSession{
			view: session.View{Title: "Desk PC", Stage: "core", Stages: stages("core"), Evidence: evidence(), Version: 40}, prompts: []session.Prompt{prompt},
		})
		d := get(t, serve(t, g), "/s/a")
		if found := d.class("restart"); len(found) > 0 {
			return text(found[0])
		}
		return ""
	}
	require.Empty(t, read(nil))
	require.Contains(t, read(&session.Restart{Safe: true}), "Safe to restart.")
	unsafe := read(&session.Restart{Why: "The disk is full. Free some space."})
	require.NotContains(t, unsafe, "Safe to restart")
	require.Contains(t, unsafe, "Do not restart yet. The disk is full. Free some space.")
}

func TestNoticesStandOnTheFirstPage(t *testing.T) {
	g := newFake()
	require.Empty(t, get(t, serve(t, g), "/").class("notices"))
	g.notices = []*fault.Error{fault.New(fault.Corrupt, "The file was <damaged>.", "Nothing is lost.")}
	d := get(t, serve(t, g), "/")
	require.Contains(t, text(d.id("notices")), "The file was <damaged>. Nothing is lost.")
}
