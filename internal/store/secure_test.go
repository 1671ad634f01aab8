package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

func TestSecureKeepsThreeBackups(t *testing.T) {
	path, events := filled(t, 3)
	log := openAt(t, path)
	for i := range 5 {
		next := storetest.Next("s", events, i)
		require.NoError(t, log.Append(t.Context(), "s", int64(len(events)), next))
		events = append(events, next...)
		require.NoError(t, log.Secure(t.Context()))
		info, err := os.Stat(path + "-wal")
		require.NoError(t, err)
		require.Zero(t, info.Size(), "all is in the log itself")
	}
	require.NoError(t, log.Close())
	lengths := map[int]bool{}
	for _, n := range []string{"3", "4", "5"} {
		data, err := os.ReadFile(path + ".backup-" + n)
		require.NoError(t, err)
		old := openAt(t, folder{"log.db": data}.put(t))
		got, err := old.Events(t.Context(), "s")
		require.NoError(t, err)
		require.Equal(t, events[:len(got)], got)
		lengths[len(got)] = true
		require.NoError(t, old.Close())
	}
	require.Equal(t, map[int]bool{6: true, 7: true, 8: true}, lengths, "the three newest")
	require.NoFileExists(t, path+".backup-2")
	require.NoFileExists(t, path+".backup-new")
}

func TestSecureSeesWhatIsNotOnTheDisk(t *testing.T) {
	for name, spoil := range map[string]func(t *testing.T, path string, log *store.Log){
		"log": func(t *testing.T, _ string, log *store.Log) {
			require.NoError(t, log.Exec("UPDATE event SET body = replace(body, 'entry 2', 'entry 9') WHERE version = 3"))
		},
		"witness": func(t *testing.T, path string, _ *store.Log) {
			data, err := os.ReadFile(path + ".witness")
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path+".witness", flip(data, lineOf(t, data, `"entry 2 `), 0), 0o600))
		},
		"a shorter witness": func(t *testing.T, path string, _ *store.Log) {
			data, err := os.ReadFile(path + ".witness")
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path+".witness", data[:len(data)-300], 0o600))
		},
	} {
		t.Run(name, func(t *testing.T) {
			path, events := filled(t, 4)
			log := openAt(t, path)
			spoil(t, path, log)
			err := log.Secure(t.Context())
			requireCode(t, fault.Corrupt, err)
			require.ErrorContains(t, err, "What is on the disk is not what was saved")
			require.True(t, log.NeedsRestart(), "nothing is written on top of it")
			require.NoFileExists(t, path+".backup-1")
			require.NoError(t, log.Close())
			log = openAt(t, path)
			got, err := log.Events(t.Context(), "s")
			require.NoError(t, err)
			require.Equal(t, events, got)
			require.NoError(t, log.Secure(t.Context()))
			require.NoError(t, log.Close())
		})
	}
}

// TestBackupGivesWhatBothJournalsLack damages one entry in both journals, of
// which a backup beside them has it.
func TestBackupGivesWhatBothJournalsLack(t *testing.T) {
	f, s, other := closedFolder(t)
	path := f.put(t)
	log := openAt(t, path)
	require.NoError(t, log.Append(t.Context(), "s", int64(len(s)), storetest.Next("s", s, 0)))
	require.NoError(t, log.Secure(t.Context()))
	s = append(s, storetest.Next("s", s, 0)...)
	require.NoError(t, log.Append(t.Context(), "s", int64(len(s)), storetest.Next("s", s, 1)))
	s = append(s, storetest.Next("s", s, 1)...)
	require.NoError(t, log.Close())
	f = readFolder(t, filepath.Dir(path))
	db, w := f["log.db"], f["log.db.witness"]
	both := f.with("log.db", flip(db, lineOf(t, db, `"entry 23 `), 0)).
		with("log.db.witness", flip(w, lineOf(t, w, `"entry 23 `), 1))
	notes := requireAll(t, both.put(t), "", s, other)
	require.Contains(t, notes[0], "taken from a backup")
	gone := f.with("log.db", nil).with("log.db.witness", nil)
	notes = requireAll(t, gone.put(t), "", s[:len(s)-1], other)
	require.Contains(t, notes[0], "taken from a backup")
}

func TestEntriesAreReadBack(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	require.NoError(t, log.Exec(`CREATE TEMP TRIGGER spoil AFTER INSERT ON event BEGIN
		UPDATE event SET body = replace(NEW.body, 'entry', 'Entry') WHERE session = NEW.session AND version = NEW.version; END`))
	err := log.Append(t.Context(), "s", 2, storetest.Next("s", events, 2))
	requireCode(t, fault.Corrupt, err)
	require.ErrorContains(t, err, "An entry was read back and is not what was saved")
	require.True(t, log.NeedsRestart())
	require.NoError(t, log.Close())
	require.Equal(t, 3, requireSaved(t, path, nil), "the witness has it as it was")
}

func TestStepEndsAreReadBackFromTheDisk(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	moved := func() []event.Envelope {
		last := events[len(events)-1]
		next, err := event.Seal("s", last.Version, last.Hash, storetest.Started, event.Moved{From: "a", To: "b", Via: "c"})
		require.NoError(t, err)
		return next
	}
	next := moved()
	require.NoError(t, log.Append(t.Context(), "s", 2, next))
	events = append(events, next...)
	t.Log("read from memory, not the disk: ", log.ReadsCached())
	log.OnWitnessSync(func(f *os.File) error {
		data, err := os.ReadFile(f.Name())
		if err != nil {
			return err
		}
		_, err = f.WriteAt(flip(data[len(data)-20:], 0, 2), int64(len(data)-20))
		return errors.Join(err, f.Sync())
	})
	err := log.Append(t.Context(), "s", 3, moved())
	requireCode(t, fault.Corrupt, err)
	require.True(t, log.NeedsRestart())
	require.NoError(t, log.Close())
	require.Equal(t, 4, requireSaved(t, path, nil))
}
