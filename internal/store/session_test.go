package store_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

func exported(t testing.TB, n int) []byte {
	t.Helper()
	data, err := store.Export(storetest.Sample("s", n), []byte(flowText))
	require.NoError(t, err)
	return data
}

func TestExportAndParse(t *testing.T) {
	events := storetest.Sample("s", 4)
	data := exported(t, 4)
	require.Equal(t, data, exported(t, 4), "the same bytes each time")
	require.True(t, bytes.HasPrefix(data, []byte(`{"format":"belay-session","version":1,"flow":{"hash":"`)))
	require.Contains(t, string(data), `<Ä & ß>`, "text stays readable")
	got, flow, err := store.Parse(data)
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.Equal(t, flowText, string(flow))

	var laidOut bytes.Buffer
	require.NoError(t, json.Indent(&laidOut, data, "", "\t"))
	got, _, err = store.Parse(laidOut.Bytes())
	require.NoError(t, err, "white space does not matter")
	require.Equal(t, events, got)
}

func TestExportOfBinaryFlow(t *testing.T) {
	flow := []byte{0xff, 0x00, 0xfe}
	events, err := event.Seal("s", 0, "", storetest.Started, event.SessionStarted{FlowHash: store.HashOf(flow)})
	require.NoError(t, err)
	data, err := store.Export(events, flow)
	require.NoError(t, err)
	require.Contains(t, string(data), `"base64":"/wD+"`)
	_, got, err := store.Parse(data)
	require.NoError(t, err)
	require.Equal(t, flow, got)
}

func TestExportRefuses(t *testing.T) {
	events := storetest.Sample("s", 3)
	flow := []byte(flowText)
	_, err := store.Export(nil, flow)
	requireCode(t, fault.Invalid, err)
	_, err = store.Export(events[1:], flow)
	requireCode(t, fault.Corrupt, err)
	_, err = store.Export(events, []byte("other"))
	requireCode(t, fault.Invalid, err)
	large, err := event.Seal("s", 3, events[2].Hash, storetest.Started, event.SessionRenamed{Title: strings.Repeat("x", store.MaxExport)})
	require.NoError(t, err)
	_, err = store.Export(append(events, large...), flow)
	requireCode(t, fault.Limit, err)
}

func TestParseSaysWhatIsWrong(t *testing.T) {
	good := string(exported(t, 4))
	replace := func(old, with string) string {
		require.Contains(t, good, old)
		return strings.Replace(good, old, with, 1)
	}
	unsound := func(change func(*event.Envelope)) string {
		events := storetest.Sample("s", 4)
		change(&events[2])
		data, err := json.Marshal(map[string]any{"format": "belay-session", "version": 1,
			"flow": map[string]string{"hash": flowHash, "text": flowText}, "events": events})
		require.NoError(t, err)
		return string(data)
	}
	for name, test := range map[string]struct {
		text, says string
		code       fault.Code
	}{
		"empty":           {"", "goes wrong at byte 0", fault.Invalid},
		"cut":             {good[:200], "goes wrong at byte 200", fault.Invalid},
		"trailing":        {good + "{}", "goes wrong at byte", fault.Invalid},
		"list":            {"[]", "not a session", fault.Invalid},
		"deep":            {strings.Repeat("[", 1<<20), "not a session", fault.Invalid},
		"other format":    {replace("belay-session", "other"), "not a session", fault.Invalid},
		"no version":      {replace(`"version":1,"flow"`, `"flow"`), "not a session", fault.Invalid},
		"newer":           {`{"format":"belay-session","version":2,"new":[]}`, "A newer Belay wrote this file: version 2", fault.Invalid},
		"unknown field":   {replace(`"flow":{`, `"more":1,"flow":{`), "not a session", fault.Invalid},
		"wrong type":      {replace(`"version":3`, `"version":"3"`), `"events.version" holds the wrong kind`, fault.Invalid},
		"twice":           {replace(`"flow":{`, `"format":"belay-session","flow":{`), `gives "format" twice`, fault.Invalid},
		"twice, by case":  {replace(`"session":"s"`, `"Session":"t","session":"s"`), `gives "session" twice`, fault.Invalid},
		"twice in a body": {replace(`{"title":"entry 2`, `{"title":"x","title":"entry 2`), `gives "title" twice`, fault.Invalid},
		"no events":       {good[:strings.Index(good, `"events"`)] + `"events":[]}`, "holds no entries", fault.Invalid},
		"flow changed":    {replace("flow: sample", "flow: simple"), "The flow in this file was changed", fault.Corrupt},
		"flow swapped":    {otherFlow(t, good), "not the one that this session began with", fault.Invalid},
		"flow twice":      {replace(`"text":`, `"base64":"eA==","text":`), "must be given once", fault.Invalid},
		"body changed":    {replace("entry 2", "entry 7"), "Entry 3 of this session was changed", fault.Corrupt},
		"event left out":  {unsound(func(e *event.Envelope) { e.Version = 4 }), "Entry 3 of this session is out of order", fault.Corrupt},
		"other session":   {unsound(func(e *event.Envelope) { e.Session = "t" }), "Entry 3 belongs to another session", fault.Invalid},
		"name":            {strings.ReplaceAll(good, `"session":"s"`, `"session":"../s"`), "cannot be the name", fault.Invalid},
		"too large":       {good + strings.Repeat(" ", store.MaxExport), "8 MiB", fault.Limit},
		"unknown kind":    {unknownKind(t), "does not know: dreamt", fault.Invalid},
		"not started":     {notStarted(t), "does not start a session", fault.Invalid},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := store.Parse([]byte(test.text))
			requireCode(t, test.code, err)
			require.ErrorContains(t, err, test.says)
		})
	}
}

func otherFlow(t *testing.T, good string) string {
	t.Helper()
	var doc map[string]json.RawMessage
	require.NoError(t, json.Unmarshal([]byte(good), &doc))
	doc["flow"] = fmt.Appendf(nil, `{"hash":%q,"text":"x"}`, store.HashOf([]byte("x")))
	data, err := json.Marshal(doc)
	require.NoError(t, err)
	return string(data)
}

type dreamt struct{}

func (dreamt) Kind() event.Kind { return "dreamt" }

func unknownKind(t *testing.T) string {
	t.Helper()
	return sealedAs(t, event.SessionStarted{FlowHash: flowHash}, dreamt{})
}

func notStarted(t *testing.T) string {
	t.Helper()
	return sealedAs(t, event.SessionRenamed{Title: "x"})
}

func sealedAs(t *testing.T, payloads ...event.Payload) string {
	t.Helper()
	events, err := event.Seal("s", 0, "", storetest.Started, payloads...)
	require.NoError(t, err)
	list, err := json.Marshal(events)
	require.NoError(t, err)
	return fmt.Sprintf(`{"format":"belay-session","version":1,"flow":{"hash":%q,"text":%q},"events":%s}`,
		flowHash, "", list)
}

func TestImportChecksAndAddsAllOrNothing(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	_, err := log.Import(t.Context(), exported(t, 4))
	requireCode(t, fault.Conflict, err)
	_, err = log.Import(t.Context(), []byte(strings.Replace(string(exported(t, 4)), "entry 2", "entry 7", 1)))
	requireCode(t, fault.Corrupt, err)
	require.NoError(t, log.Delete(t.Context(), "s"))
	_, err = log.Import(t.Context(), exported(t, 4))
	require.NoError(t, err)
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got[:2])
	again, err := store.Export(got, []byte(flowText))
	require.NoError(t, err)
	require.Equal(t, exported(t, 4), again, "an import exports to the same bytes")
	require.NoError(t, log.Close())
}

// TestImportKeepsBodiesAsTheyAre takes a body that another program spelled in
// its own way and hashed: what comes in must come out.
func TestImportKeepsBodiesAsTheyAre(t *testing.T) {
	events := storetest.Sample("s", 2)
	e := &events[1]
	e.Body = []byte(`{"title":"<a&b>"}`)
	e.Hash = store.HashOf(fmt.Appendf(nil, "%s\n%s\n2\n%s\nsession_renamed\n1\n%s\n",
		e.Prev, e.Session, e.Time.Format(time.RFC3339Nano), e.Body))
	data, err := store.Export(events, []byte(flowText))
	require.NoError(t, err)
	log := openAt(t, filepath.Join(t.TempDir(), "log.db"))
	_, err = log.Import(t.Context(), data)
	require.NoError(t, err)
	got, err := log.EventsAfter(t.Context(), "s", 1)
	require.NoError(t, err)
	require.Equal(t, events[1:], got)
	require.NoError(t, log.Append(t.Context(), "s", 2, storetest.Next("s", events, 2)))
	got, err = log.EventsAfter(t.Context(), "s", 0)
	require.NoError(t, err)
	require.Equal(t, events, got[:2])
	require.NoError(t, log.Close())
}

func FuzzParse(f *testing.F) {
	f.Add(exported(f, 2))
	f.Add([]byte(`{"format":"belay-session","version":1,"flow":{"hash":"","base64":""},"events":[{"body":null}]}`))
	f.Add([]byte(`{"format":"belay-session","version":1,"Flow":{},"flow":{}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		events, flow, err := store.Parse(data)
		if err != nil {
			require.NotEqual(t, fault.Internal, fault.CodeOf(err), "%v", err)
			return
		}
		again, err := store.Export(events, flow)
		require.NoError(t, err)
		events2, flow2, err := store.Parse(again)
		require.NoError(t, err)
		require.Equal(t, events, events2)
		require.Equal(t, string(flow), string(flow2))
	})
}
