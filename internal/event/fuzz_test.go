package event_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
)

// FuzzDecode: a body of any kind is read or refused, and what was read and is
// sealed again keeps its meaning and passes its own check.
func FuzzDecode(f *testing.F) {
	for _, s := range []struct{ kind, body string }{
		{"session_started", `{"title":"a","flow":"desktop","flow_hash":"x"}`}, {"session_renamed", `{"title":"b"}`},
		{"answered", `{"prompt":"p1","action":"continue","values":{"set_voltage_v":1.2,"ok":true,"rows":[{"score":1}]}}`},
		{"answered", `{"values":{"a":1e999}}`}, {"answered", `{"values":{"a":{"b":1}}}`}, {"undone", `{}`}, {"none", `{}`}, {"answered", `null`},
		{"trial_started", `{"n":1}`}, {"trial_ended", `{"outcome":"clean","minutes":1e308}`}, {"answered", `[`}, {"", ``},
	} {
		f.Add(s.kind, []byte(s.body))
	}
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		p, err := event.Decode(event.Envelope{Session: "s", Version: 1, Kind: event.Kind(kind), Format: 1, Body: body})
		if err != nil {
			require.Contains(t, []fault.Code{fault.Invalid, fault.Corrupt}, fault.CodeOf(err))
			return
		}
		require.Equal(t, event.Kind(kind), p.Kind())
		sealed, err := event.Seal("s", 0, "", time.Unix(0, 0), p)
		require.NoError(t, err)
		require.NoError(t, event.Verify(sealed))
		again, err := event.Decode(sealed[0])
		require.NoError(t, err)
		one, err := json.Marshal(p)
		require.NoError(t, err)
		two, err := json.Marshal(again)
		require.NoError(t, err)
		require.JSONEq(t, string(one), string(two))
	})
}
