package store_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

// folder is the content of a data folder by file name.
type folder map[string][]byte

func readFolder(t *testing.T, path string) folder {
	t.Helper()
	f := folder{}
	for _, name := range namesIn(t, path) {
		data, err := os.ReadFile(filepath.Join(path, name))
		require.NoError(t, err)
		f[name] = data
	}
	return f
}

// quickDir is a folder in memory where the system has one. Syncs cost nothing
// there, which is right for tests in which nothing stops.
func quickDir(t *testing.T) string {
	t.Helper()
	path, err := os.MkdirTemp("/dev/shm", "belay-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(path)) })
	return path
}

// put writes the folder anew and returns the path of its log.
func (f folder) put(t *testing.T) string {
	t.Helper()
	path := quickDir(t)
	for name, data := range f {
		require.NoError(t, os.WriteFile(filepath.Join(path, name), data, 0o600))
	}
	return filepath.Join(path, "log.db")
}

// with returns a copy in which one file is another.
func (f folder) with(name string, data []byte) folder {
	c := folder{}
	for n, d := range f {
		c[n] = d
	}
	if data == nil {
		delete(c, name)
	} else {
		c[name] = data
	}
	return c
}

func flip(data []byte, at int, bit uint) []byte {
	c := bytes.Clone(data)
	c[at] ^= 1 << bit
	return c
}

// living is a folder as a crash leaves it: with a write-ahead file of many
// saves. It holds the sessions "s" and "t".
func living(t *testing.T, saves int) (folder, []event.Envelope, []event.Envelope) {
	t.Helper()
	path := filepath.Join(quickDir(t), "log.db")
	log := openAt(t, path)
	require.NoError(t, log.PutFlow(t.Context(), flowHash, []byte(flowText)))
	var s, other []event.Envelope
	for i := range saves {
		next := storetest.Next("s", s, i)
		require.NoError(t, log.Append(t.Context(), "s", int64(len(s)), next))
		s = append(s, next...)
		if i%5 == 0 {
			next = storetest.Next("t", other, i)
			require.NoError(t, log.Append(t.Context(), "t", int64(len(other)), next))
			other = append(other, next...)
		}
	}
	f := readFolder(t, filepath.Dir(path))
	require.NoError(t, log.Close())
	delete(f, "log.db-shm")
	return f, s, other
}

// requireAll opens a log and finds both sessions whole. It returns the notes.
func requireAll(t *testing.T, path, message string, s, other []event.Envelope) []string {
	t.Helper()
	log, err := store.Open(path)
	require.NoError(t, err, message)
	var notes []string
	for _, n := range log.Notes() {
		require.NotEmpty(t, n.Next)
		notes = append(notes, n.Msg)
	}
	for session, want := range map[string][]event.Envelope{"s": s, "t": other} {
		got, err := log.Events(t.Context(), session)
		require.NoError(t, err, message)
		require.Equal(t, want, got, message)
	}
	flow, err := log.Flow(t.Context(), flowHash)
	require.NoError(t, err, message)
	require.Equal(t, flowText, string(flow))
	next := storetest.Next("s", s, len(s))
	require.NoError(t, log.Append(t.Context(), "s", int64(len(s)), next), "%s: it goes on", message)
	require.NoError(t, log.Close())

	log, err = store.Open(path)
	require.NoError(t, err, message)
	require.Empty(t, log.Notes(), "%s: one repair is enough", message)
	if len(notes) > 0 && log.Earlier() != nil {
		require.Equal(t, notes[0], log.Earlier()[0].Msg, "it is told until the files are deleted")
	}
	require.NoError(t, log.Close())
	return notes
}

// heavy multiplies the number of cases when the long proofs are asked for.
func heavy(normal, long int) int {
	if os.Getenv("BELAY_LONG") != "" {
		return long
	}
	return normal
}

// TestFlippedBits flips one bit at a time in each of the files of a crashed
// Belay. Nothing is ever lost, and a repair is told.
func TestFlippedBits(t *testing.T) {
	const seed = 17
	f, s, other := living(t, 40)
	closed, cs, cother := closedFolder(t)
	for _, test := range []struct {
		file     string
		f        folder
		s, other []event.Envelope
	}{{"log.db-wal", f, s, other}, {"log.db.witness", f, s, other}, {"log.db", closed, cs, cother}} {
		t.Run(test.file, func(t *testing.T) {
			random := rand.New(rand.NewPCG(seed, 1))
			told, cases := 0, heavy(70, 300)
			data := test.f[test.file]
			require.NotEmpty(t, data)
			for i := range cases {
				at, bit := random.IntN(len(data)), uint(random.IntN(8))
				path := test.f.with(test.file, flip(data, at, bit)).put(t)
				message := strings.Join([]string{"seed", strconv.Itoa(seed), "case", strconv.Itoa(i), "byte", strconv.Itoa(at)}, " ")
				if notes := requireAll(t, path, message, test.s, test.other); len(notes) > 0 {
					told++
				}
			}
			t.Logf("%d flips, seed %d: all entries there each time, %d repairs told", cases, seed, told)
			require.Positive(t, told)
		})
	}
}

// closedFolder is a folder after a clean end.
func closedFolder(t *testing.T) (folder, []event.Envelope, []event.Envelope) {
	t.Helper()
	f, s, other := living(t, 40)
	path := f.put(t)
	require.NoError(t, openAt(t, path).Close())
	return readFolder(t, filepath.Dir(path)), s, other
}

// lineOf returns the place of the witness's line that holds text.
func lineOf(t *testing.T, data []byte, text string) int {
	t.Helper()
	at := bytes.Index(data, []byte(text))
	require.Positive(t, at, text)
	return at
}

func TestBothJournalsDamagedAtDifferentEntries(t *testing.T) {
	f, s, other := closedFolder(t)
	db, w := f["log.db"], f["log.db.witness"]
	both := f.with("log.db", flip(db, lineOf(t, db, `"entry 7 `), 0)).
		with("log.db.witness", flip(w, lineOf(t, w, `"entry 23 `), 0))
	notes := requireAll(t, both.put(t), "", s, other)
	require.Contains(t, strings.Join(notes, " "), "damaged")
}

func TestBothJournalsDamagedAtOneEntry(t *testing.T) {
	f, s, other := closedFolder(t)
	db, w := f["log.db"], f["log.db.witness"]
	both := f.with("log.db", flip(db, lineOf(t, db, `"entry 23 `), 0)).
		with("log.db.witness", flip(w, lineOf(t, w, `"entry 23 `), 1))

	path := both.put(t)
	log := openAt(t, path)
	var notes []string
	for _, n := range log.Notes() {
		notes = append(notes, n.Msg)
	}
	require.Contains(t, notes, "Entry 24 of the session s is damaged in both journals and in no backup.")
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, s[:23], got, "it goes on from the entry before")
	got, err = log.Events(t.Context(), "t")
	require.NoError(t, err)
	require.Equal(t, other, got)
	require.NoError(t, log.Close())
	names := namesIn(t, filepath.Dir(path))
	require.Contains(t, names, "log.db.damaged-1")
	require.Contains(t, names, "log.db.damaged-1.witness")
	rest, err := os.ReadFile(path + ".damaged-1.entries.jsonl")
	require.NoError(t, err)
	require.Equal(t, len(s)-24, bytes.Count(rest, []byte("\n")), "the entries behind it are kept")
	require.Equal(t, flip(db, lineOf(t, db, `"entry 23 `), 0), readFolder(t, filepath.Dir(path))["log.db.damaged-1"])
}

func TestA33LostFiles(t *testing.T) {
	f, s, other := closedFolder(t)
	for name, test := range map[string]struct {
		f    folder
		says string
	}{
		"no data file":     {f.with("log.db", nil), "built anew from the second journal"},
		"an empty one":     {f.with("log.db", []byte{}), "built anew from the second journal"},
		"zeros":            {f.with("log.db", make([]byte, len(f["log.db"]))), "built anew from the second journal"},
		"text":             {f.with("log.db", bytes.Repeat([]byte("text\n"), 3000)), "built anew from the second journal"},
		"half of it":       {f.with("log.db", f["log.db"][:len(f["log.db"])/2]), "built anew from the second journal"},
		"no witness":       {f.with("log.db.witness", nil), "second journal beside Belay's data was missing"},
		"an empty witness": {f.with("log.db.witness", []byte{}), ""},
		"half a witness":   {f.with("log.db.witness", f["log.db.witness"][:len(f["log.db.witness"])/2]), ""},
		"no order": {f.with("log.db.witness", bytes.Replace(f["log.db.witness"], []byte("\n"), nil, 3)),
			"second journal beside Belay's data was damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			notes := requireAll(t, test.f.put(t), name, s, other)
			require.Contains(t, strings.Join(notes, " "), test.says)
		})
	}
}

func TestAllLost(t *testing.T) {
	f, _, _ := closedFolder(t)
	path := f.with("log.db", flip(f["log.db"], 0, 1)).with("log.db.witness", nil).put(t)
	_, err := store.Open(path)
	require.ErrorContains(t, err, "not one of Belay's", "nothing says that it was Belay's")
	path = f.with("log.db", bytes.Repeat([]byte("x"), 5000)).with("log.db.witness", []byte("nothing\nhere\n\n")).put(t)
	log, err := store.Open(path)
	require.NoError(t, err)
	require.Contains(t, log.Notes()[len(log.Notes())-2].Msg+log.Notes()[0].Msg, "empty data")
	heads, err := log.Heads(t.Context())
	require.NoError(t, err)
	require.Empty(t, heads)
	require.NoError(t, log.Close())
	require.FileExists(t, path+".damaged-1")
	require.FileExists(t, path+".damaged-1.witness")
	log = openAt(t, path)
	require.Empty(t, log.Notes())
	require.Len(t, log.Earlier(), 2, "it is told again")
	require.NoError(t, log.Close())
	require.NoError(t, os.Remove(path+".damaged-1.txt"))
	log = openAt(t, path)
	require.Empty(t, log.Earlier(), "until the file is deleted")
	require.NoError(t, log.Close())
}
