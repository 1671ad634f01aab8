package store_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

func TestOpenMakesPrivateFiles(t *testing.T) {
	path := filepath.Join(t.TempDir(), "new folder", "50% ?#ä", "log.db")
	log := openAt(t, path)
	require.NoError(t, log.Append(t.Context(), "s", 0, storetest.Sample("s", 1)))
	require.Equal(t, 1, log.SchemaVersion())
	names := map[string]fs.FileMode{"": 0o700, "log.db": 0o600, "log.db-wal": 0o600, "log.db-shm": 0o600, "log.db.lock": 0o600,
		"log.db.witness": 0o600, "log.db.ballast": 0o600}
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, entries, len(names)-1)
	for name, want := range names {
		info, err := os.Stat(filepath.Join(filepath.Dir(path), name))
		require.NoError(t, err)
		if runtime.GOOS != "windows" {
			require.Equal(t, want, info.Mode().Perm(), name)
		}
	}
	require.NoError(t, log.Close())
	require.NoFileExists(t, path+"-wal", "a clean end leaves no write-ahead file")
}

func TestSettingsAreReadBack(t *testing.T) {
	path, _ := filled(t, 1)
	require.NoError(t, store.Connect(path, store.WriterSettings))
	require.NoError(t, store.Connect(path, store.ReaderSettings))
	for name, test := range map[string]struct{ settings, says string }{
		"no synchronous":  {strings.Replace(store.WriterSettings, "_synchronous=FULL", "", 1), "synchronous 1"},
		"misspelt":        {strings.Replace(store.WriterSettings, "_synchronous", "_synchronos", 1), "synchronous 1"},
		"no foreign keys": {strings.Replace(store.WriterSettings, "_foreign_keys=on", "", 1), "foreign_keys 0"},
		"reader":          {strings.Replace(store.ReaderSettings, "_synchronous=FULL", "", 1), "synchronous 1"},
		"rollback journal": {strings.Replace(store.WriterSettings, "_journal_mode=WAL", "_journal_mode=DELETE", 1),
			"journal_mode delete"},
	} {
		err := store.Connect(path, test.settings)
		require.ErrorContains(t, err, test.says, name)
		var f *fault.Error
		require.ErrorAs(t, err, &f, name)
		require.NotEmpty(t, f.Next, name)
	}
}

func TestSecondProcessIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	cmd, lines := child(t, "hold", path)
	require.True(t, lines.Scan())
	require.Equal(t, "held", lines.Text())
	_, err := store.Open(path)
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "It is at http://127.0.0.1:4717/")
	link := filepath.Join(t.TempDir(), "link.db")
	require.NoError(t, os.Symlink(path, link))
	_, err = store.Open(link)
	requireCode(t, fault.Unavailable, err)
	require.NoError(t, cmd.Process.Kill())
	require.Error(t, cmd.Wait())
	log := openAt(t, path)
	_, err = store.Open(path)
	requireCode(t, fault.Unavailable, err)
	require.NotContains(t, err.Error(), "4717", "the address of the dead process is gone")
	require.NoError(t, log.Close())
	require.NoError(t, openAt(t, path).Close())
}

func TestOtherFilesAreRefusedUntouched(t *testing.T) {
	path, _ := filled(t, 2)
	foreign := filepath.Join(t.TempDir(), "foreign.db")
	plainly(t, foreign, "CREATE TABLE t (a); INSERT INTO t VALUES (1)")
	text := filepath.Join(t.TempDir(), "text.db")
	require.NoError(t, os.WriteFile(text, []byte(strings.Repeat("not a database\n", 100)), 0o600))
	newer, other := copyOf(t, path), copyOf(t, path)
	plainly(t, newer, "PRAGMA user_version=2")
	plainly(t, other, "UPDATE migration SET checksum = 'x' || substr(checksum, 2)")
	for name, test := range map[string]struct {
		path, says string
		code       fault.Code
	}{
		"foreign":         {foreign, "not one of Belay's", fault.Invalid},
		"text":            {text, "not one of Belay's", fault.Invalid},
		"newer schema":    {newer, "A newer Belay wrote this data: schema 2. This Belay knows 1.", fault.Invalid},
		"other migration": {other, "another migration 1", fault.Corrupt},
	} {
		before, err := os.ReadFile(test.path)
		require.NoError(t, err)
		_, err = store.Open(test.path)
		requireCode(t, test.code, err)
		require.ErrorContains(t, err, test.says, name)
		after, err := os.ReadFile(test.path)
		require.NoError(t, err)
		require.Equal(t, before, after, name)
	}
}

func copyOf(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	target := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(target, data, 0o600))
	return target
}

// withStep returns this program's migrations and one more.
func withStep(t *testing.T, text string) fs.FS {
	t.Helper()
	first, err := fs.ReadFile(store.Migrations(), "0001_log.sql")
	require.NoError(t, err)
	return fstest.MapFS{"0001_log.sql": {Data: first}, "0002_more.sql": {Data: []byte(text)}}
}

func TestMigrationKeepsABackup(t *testing.T) {
	path, events := filled(t, 3)
	log, err := store.OpenWith(path, withStep(t, "CREATE TABLE more (a INTEGER) STRICT;"))
	require.NoError(t, err)
	require.Equal(t, 2, log.SchemaVersion())
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.NoError(t, log.Exec("INSERT INTO more VALUES (1)"))
	require.NoError(t, log.Close())
	_, err = store.Open(path)
	requireCode(t, fault.Invalid, err)

	old := openAt(t, path+".schema1-1.bak")
	got, err = old.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.NoError(t, old.Close())
}

func TestFailedMigrationChangesNothing(t *testing.T) {
	path, events := filled(t, 3)
	for range 2 {
		_, err := store.OpenWith(path, withStep(t, "DROP TABLE flow; CREATE TABLE session (a);"))
		require.ErrorContains(t, err, "already exists")
	}
	log := openAt(t, path)
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	report, err := log.Verify(t.Context())
	require.NoError(t, err)
	require.Equal(t, 1, report.Flows)
	require.NoError(t, log.Close())
}

func TestMigrationsAreNumberedWithoutGaps(t *testing.T) {
	_, err := store.OpenWith(filepath.Join(t.TempDir(), "log.db"), fstest.MapFS{"0002_more.sql": {Data: []byte("SELECT 1")}})
	require.ErrorContains(t, err, "Migration 1 is missing")
}

func TestA34UnwritableFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err := store.Open(filepath.Join(file, "log.db"))
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "cannot write its data here")
}

func TestBackup(t *testing.T) {
	path, events := filled(t, 40)
	log := openAt(t, path)
	folder := t.TempDir()
	target := filepath.Join(folder, "backup.db")
	require.NoError(t, log.Backup(t.Context(), target))
	requireCode(t, fault.Conflict, log.Backup(t.Context(), target))
	requireCode(t, fault.Unavailable, log.Backup(t.Context(), filepath.Join(folder, "none", "backup.db")))
	require.NoError(t, log.Append(t.Context(), "s", 40, storetest.Next("s", events, 40)), "the log goes on")
	require.Equal(t, []string{"backup.db"}, namesIn(t, folder), "no leftovers")
	require.NoError(t, log.Close())

	copied := openAt(t, target)
	got, err := copied.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	report, err := copied.Verify(t.Context())
	require.NoError(t, err)
	require.Equal(t, store.Report{Sessions: 2, Events: 42, Flows: 1}, report)
	require.NoError(t, copied.Close())
}

func TestBackupOfDamageIsNotKept(t *testing.T) {
	path, _ := filled(t, 3)
	log := openAt(t, path)
	require.NoError(t, log.Exec("UPDATE event SET body = '{}' WHERE version = 2 AND session = 's'"))
	folder := t.TempDir()
	err := log.Backup(t.Context(), filepath.Join(folder, "backup.db"))
	requireCode(t, fault.Corrupt, err)
	require.ErrorContains(t, errors.Unwrap(err), "data file is damaged")
	require.Empty(t, namesIn(t, folder))
	require.NoError(t, log.Close())
}

func namesIn(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}
