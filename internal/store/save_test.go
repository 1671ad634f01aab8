package store_test

import (
	"database/sql"
	"errors"
	"os"
	"testing"

	"github.com/mattn/go-sqlite3"
	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store/storetest"
)

// TestRefusedSaveLeavesNothing lets the commit find the disk full after the
// witness was written: what was refused must not come back at the next start.
func TestRefusedSaveLeavesNothing(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	before, err := os.ReadFile(path + ".witness")
	require.NoError(t, err)
	log.OnCommit(func(tx *sql.Tx) error { return errors.Join(sqlite3.Error{Code: sqlite3.ErrFull}, tx.Rollback()) })
	err = log.Append(t.Context(), "s", 2, storetest.Next("s", events, 2))
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "nothing was saved")
	after, err := os.ReadFile(path + ".witness")
	require.NoError(t, err)
	require.Equal(t, string(before), string(after))
	require.NoError(t, log.Close())
	require.Equal(t, 2, requireSaved(t, path, nil))
}

// TestFailedSyncOfTheWitness is a save in doubt: nothing more is written, and
// the next start shows it.
func TestFailedSyncOfTheWitness(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	log.OnWitnessSync(func(*os.File) error { return errors.New("the disk refuses") })
	next := storetest.Next("s", events, 2)
	err := log.Append(t.Context(), "s", 2, next)
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "cannot tell whether the last save reached the disk")
	require.True(t, log.NeedsRestart())
	require.Contains(t, log.Warning().Msg, "cannot tell")
	log.OnWitnessSync(func(*os.File) error { return nil })
	requireCode(t, fault.Unavailable, log.Append(t.Context(), "new", 0, storetest.Sample("new", 1)))
	requireCode(t, fault.Unavailable, log.Secure(t.Context()))
	require.NoError(t, log.Close())
	require.Equal(t, 3, requireSaved(t, path, nil))
}
