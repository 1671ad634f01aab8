package pair_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/pair"
)

type clock struct{ at time.Time }

func newDesk(t *testing.T) (*pair.Desk, *clock) {
	t.Helper()
	c := &clock{time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)}
	d := pair.New(func() time.Time { return c.at })
	d.Open("127.0.0.2:8420")
	return d, c
}

func show(t *testing.T, d *pair.Desk) pair.Code {
	t.Helper()
	require.NoError(t, d.Show())
	return *d.View().Code
}

const wrong = "ZZZZ-ZZZZ"

// letIn pairs a device and returns its session.
func letIn(t *testing.T, d *pair.Desk) string {
	t.Helper()
	ticket, err := d.Ask(show(t, d).Text, "Phone", "127.0.0.1")
	require.NoError(t, err)
	require.NoError(t, d.Decide(d.View().Asking[0].ID, true))
	session, state := d.Claim(ticket)
	require.Equal(t, pair.LetIn, state)
	return session
}

func TestPairing(t *testing.T) {
	d, _ := newDesk(t)
	code := show(t, d)
	require.Regexp(t, `^[BCDFGHJKLMNPQRSTVWXZ]{4}-[BCDFGHJKLMNPQRSTVWXZ]{4}$`, code.Text)
	require.Regexp(t, `^[0-9a-f]{32}$`, code.Token)
	ticket, err := d.Ask(" "+strings.ToLower(strings.ReplaceAll(code.Text, "-", " ")), "My\nphone\u202e", "127.0.0.1")
	require.NoError(t, err)
	v := d.View()
	require.Len(t, v.Asking, 1)
	require.Equal(t, "Myphone", v.Asking[0].Name)
	require.Equal(t, "127.0.0.1", v.Asking[0].Address)
	_, state := d.Claim(ticket)
	require.Equal(t, pair.Waiting, state, "nothing happens before the PC has said yes")
	require.NoError(t, d.Decide(v.Asking[0].ID, true))
	session, state := d.Claim(ticket)
	require.Equal(t, pair.LetIn, state)
	_, known := d.Known(session)
	require.True(t, known)
	_, known = d.Known("")
	require.False(t, known)
	again, state := d.Claim(ticket)
	require.Equal(t, pair.Refused, state, "a ticket is used once")
	require.Empty(t, again)

	ticket, err = d.Ask(show(t, d).Token, "", "127.0.0.1")
	require.NoError(t, err, "the token of the picture code works as well")
	require.NoError(t, d.Decide(d.View().Asking[0].ID, false))
	_, state = d.Claim(ticket)
	require.Equal(t, pair.Refused, state)
	require.Equal(t, fault.NotFound, fault.CodeOf(d.Decide("none", true)))
}

func TestA10GuessesBurnTheCode(t *testing.T) {
	d, c := newDesk(t)
	code := show(t, d)
	for range pair.WrongPerCode {
		_, err := d.Ask(wrong, "", "127.0.0.9")
		require.ErrorIs(t, err, pair.ErrWrong)
	}
	_, err := d.Ask(code.Text, "", "127.0.0.9")
	require.ErrorIs(t, err, pair.ErrMany, "the sixth try, though right")
	require.Contains(t, d.View().Notice, "127.0.0.9")
	require.Nil(t, d.View().Code)

	for range pair.TriesPerHour - 6 { // with fresh codes
		show(t, d)
		_, err := d.Ask(wrong, "", "127.0.0.9")
		require.ErrorIs(t, err, pair.ErrWrong)
	}
	code = show(t, d)
	_, err = d.Ask(code.Text, "", "127.0.0.9")
	require.ErrorIs(t, err, pair.ErrMany, "the 21st try within an hour")
	require.Nil(t, d.View().Code)
	require.NotEmpty(t, d.View().Notice)
	c.at = c.at.Add(time.Hour)
	_, err = d.Ask(show(t, d).Text, "", "127.0.0.9")
	require.NoError(t, err)
}

func TestA11OldAndUsedCodes(t *testing.T) {
	d, c := newDesk(t)
	code := show(t, d)
	c.at = c.at.Add(pair.CodeLife)
	_, late := d.Ask(code.Text, "", "127.0.0.1")
	code = show(t, d)
	_, err := d.Ask(code.Text, "", "127.0.0.1")
	require.NoError(t, err)
	_, used := d.Ask(code.Text, "", "127.0.0.1")
	_, picture := d.Ask(code.Token, "", "127.0.0.1")
	show(t, d)
	_, guess := d.Ask(wrong, "", "127.0.0.1")
	for _, got := range []error{late, used, picture, guess} {
		require.ErrorIs(t, got, pair.ErrWrong, "one text for all of them")
	}
	old := show(t, d)
	show(t, d)
	_, err = d.Ask(old.Text, "", "127.0.0.1")
	require.ErrorIs(t, err, pair.ErrWrong, "a new code ends the one before")
}

func TestSessionsEnd(t *testing.T) {
	d, c := newDesk(t)
	first, second := letIn(t, d), letIn(t, d)
	ctx, _ := d.Known(first)
	require.NoError(t, d.Remove(d.View().Devices[0].ID))
	require.Error(t, ctx.Err(), "what runs for it ends")
	_, known := d.Known(first)
	require.False(t, known)
	_, known = d.Known(second)
	require.True(t, known)
	c.at = c.at.Add(pair.SessionLife)
	_, known = d.Known(second)
	require.False(t, known, "after twelve hours")
	require.Empty(t, d.Address(), "the time in the local network ends, too")
	require.Error(t, d.Show())
	_, err := d.Ask(wrong, "", "127.0.0.1")
	require.Equal(t, fault.Denied, fault.CodeOf(err))

	d, _ = newDesk(t)
	session := letIn(t, d)
	ctx, _ = d.Known(session)
	d.Close()
	require.Error(t, ctx.Err())
	_, known = d.Known(session)
	require.False(t, known)
	d.Open("127.0.0.2:8420")
	_, known = d.Known(session)
	require.False(t, known, "it does not come back with the switch")
}
