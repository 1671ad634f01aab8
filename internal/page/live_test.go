package page

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/event"
	"belay/internal/session"
)

func TestTheTrialPanel(t *testing.T) {
	g := newFake()
	p := &pages{guide: g}
	due := session.Prompt{ID: "p9", Trial: true}
	require.Nil(t, p.live(session.View{}, session.Prompt{}), "no trial is due")
	require.Nil(t, p.live(session.View{Practice: &event.Practice{}}, due), "practice runs nothing")
	require.Empty(t, p.live(session.View{}, due).Offer, "this PC can run no load")

	g.running = &assist.Running{}
	v := p.live(session.View{}, due)
	require.Equal(t, "Run the load on this PC", v.Label)
	require.Nil(t, v.Running)

	g.running = &assist.Running{Trial: 3, Minutes: 10, ElapsedS: 125, Status: "running", CoreTemp: 81}
	v = p.live(session.View{}, due)
	require.Empty(t, v.Offer)
	require.Equal(t, "2:05", v.Running.Gone)
	require.Equal(t, "7:55", v.Running.Left)
	require.Equal(t, "81 °C", v.Running.Temp)
	require.True(t, v.Running.CanStop)
	before := v.State
	g.running.Status = "saving"
	v = p.live(session.View{}, due)
	require.NotEqual(t, before, v.State, "the panel is drawn anew")
	require.False(t, v.Running.CanStop)

	g.running = &assist.Running{}
	due.Found = &session.Found{From: "crash", Says: "The PC froze."}
	v = p.live(session.View{}, due)
	require.Equal(t, "Run the load again", v.Label)
	require.Equal(t, "The PC froze.", v.Found.Says)
}
