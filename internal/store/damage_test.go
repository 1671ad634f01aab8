package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
)

// TestDamageIsNamed damages the log while it is open, so that nothing repairs it.
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
		"no session": {"PRAGMA foreign_keys=off; DELETE FROM session WHERE id = 's'", "not in the list", ""},
		"flow":       {"UPDATE flow SET body = x'00'", "A flow was changed", ""},
		"earlier":    {"UPDATE event SET body = '{}' WHERE version = 1 AND session = 's'", "Entry 1", ""},
	} {
		t.Run(name, func(t *testing.T) {
			path, _ := filled(t, 4)
			log := openAt(t, path)
			require.NoError(t, log.Delete(t.Context(), "other"))
			require.NoError(t, log.Exec(test.statement))
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

func TestDamagedFlow(t *testing.T) {
	path, _ := filled(t, 1)
	log := openAt(t, path)
	require.NoError(t, log.Exec("UPDATE flow SET body = x'00'"))
	_, err := log.Flow(t.Context(), flowHash)
	requireCode(t, fault.Corrupt, err)
	require.NoError(t, log.PutFlow(t.Context(), flowHash, []byte(flowText)))
	report, err := log.Verify(t.Context())
	require.NoError(t, err, "put anew, it is sound again")
	require.Equal(t, store.Report{Sessions: 2, Events: 3, Flows: 1}, report)
	require.NoError(t, log.Close())
}
