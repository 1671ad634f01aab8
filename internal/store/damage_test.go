package store_test

import (
	"bytes"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
)

func TestFlippedByteInTheFile(t *testing.T) {
	path, _ := filled(t, 6)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	at := bytes.Index(data, []byte(`"entry 3 `))
	require.Positive(t, at)
	data[at+1] ^= 1 << 3
	require.NoError(t, os.WriteFile(path, data, 0o600))

	log := openAt(t, path)
	_, err = log.Events(t.Context(), "s")
	requireCode(t, fault.Corrupt, err)
	require.ErrorContains(t, err, "Entry 4 of this session was changed")
	report, err := log.Verify(t.Context())
	requireCode(t, fault.Corrupt, err)
	require.Equal(t, 2, report.Sessions)
	require.Equal(t, 2, report.Events, "those of the sound session")
	require.Len(t, report.Damage, 1)
	require.Equal(t, "s", report.Damage[0].Session)
	require.Contains(t, report.Damage[0].Fault.Msg, "Entry 4")
	other, err := log.Events(t.Context(), "other")
	require.NoError(t, err)
	require.Len(t, other, 2)
	require.NoError(t, log.Close())
}

func TestDamageIsNamed(t *testing.T) {
	const all = "every reader sees it"
	for name, test := range map[string]struct{ statement, says, tail string }{
		"body":       {"UPDATE event SET body = replace(body, 'entry 2', 'entry 9') WHERE version = 3", "Entry 3", all},
		"not JSON":   {"UPDATE event SET body = '{' WHERE version = 3", "Entry 3", all},
		"time":       {"UPDATE event SET time = replace(time, 'T', 'U') WHERE version = 3", "Entry 3", all},
		"kind":       {"UPDATE event SET kind = 'answered' WHERE version = 3", "Entry 3", all},
		"format":     {"UPDATE event SET format = 2 WHERE version = 3", "Entry 3", all},
		"prev":       {"UPDATE event SET prev = hash WHERE version = 3", "Entry 3", all},
		"hash":       {"UPDATE event SET hash = prev WHERE version = 3", "Entry 3", all},
		"version":    {"UPDATE event SET version = 9 WHERE version = 4", "Entry 4", all},
		"a hole":     {"DELETE FROM event WHERE version = 3", "Entry 3", all},
		"short":      {"DELETE FROM event WHERE version = 4", "Entry 4, the last one", all},
		"all gone":   {"DELETE FROM event WHERE session = 's'", "Entry 4, the last one", all},
		"head":       {"UPDATE session SET version = 3 WHERE id = 's'", "Entry 3, the last one", all},
		"head hash":  {"UPDATE session SET hash = 'x' WHERE id = 's'", "Entry 4, the last one", all},
		"no session": {"DELETE FROM session WHERE id = 's'", "not in the list", ""},
		"flow":       {"UPDATE flow SET body = x'00'", "A flow was changed", ""},
		"earlier":    {"UPDATE event SET body = '{}' WHERE version = 1 AND session = 's'", "Entry 1", ""},
	} {
		t.Run(name, func(t *testing.T) {
			path, _ := filled(t, 4)
			plainly(t, path, "DELETE FROM session WHERE id = 'other'; DELETE FROM event WHERE session = 'other'; "+test.statement)
			log := openAt(t, path)
			report, err := log.Verify(t.Context())
			requireCode(t, fault.Corrupt, err)
			require.NotEmpty(t, report.Damage)
			require.ErrorContains(t, err, test.says)
			if test.tail != "" {
				_, err = log.EventsAfter(t.Context(), "s", 2)
				requireCode(t, fault.Corrupt, err)
				_, err = log.Events(t.Context(), "s")
				requireCode(t, fault.Corrupt, err)
				require.ErrorContains(t, err, test.says)
			}
			require.NoError(t, log.Close())
		})
	}
}

func TestBrokenStructure(t *testing.T) {
	path, _ := filled(t, 200)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	for at := 8 * 4096; at < len(data); at += 4096 {
		clear(data[at : at+64]) // the header of every page from the ninth on
	}
	require.NoError(t, os.WriteFile(path, data, 0o600))
	log := openAt(t, path)
	_, err = log.Events(t.Context(), "s")
	requireCode(t, fault.Corrupt, err)
	report, err := log.Verify(t.Context())
	requireCode(t, fault.Corrupt, err)
	require.NotEmpty(t, report.Damage)
	require.NoError(t, log.Close())
}

func TestBrokenFreeList(t *testing.T) {
	path, _ := filled(t, 2)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	data[39]++ // number of free pages. Source: SQLite file format, section 1.3
	require.NoError(t, os.WriteFile(path, data, 0o600))
	log := openAt(t, path)
	report, err := log.Verify(t.Context())
	requireCode(t, fault.Corrupt, err)
	require.ErrorContains(t, err, "data file is damaged")
	require.Len(t, report.Damage, 1)
	require.Equal(t, 4, report.Events, "every entry is sound")
	require.NoError(t, log.Close())
}

func TestDamagedFlow(t *testing.T) {
	path, _ := filled(t, 1)
	plainly(t, path, "UPDATE flow SET body = x'00'")
	log := openAt(t, path)
	_, err := log.Flow(t.Context(), flowHash)
	requireCode(t, fault.Corrupt, err)
	require.NoError(t, log.PutFlow(t.Context(), flowHash, []byte(flowText)))
	report, err := log.Verify(t.Context())
	require.NoError(t, err, "put anew, it is sound again")
	require.Equal(t, store.Report{Sessions: 2, Events: 3, Flows: 1}, report)
	require.NoError(t, log.Close())
}
