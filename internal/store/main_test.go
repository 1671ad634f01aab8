package store_test

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

// children are what this test binary does when a test starts it again.
var children = map[string]func(path string) error{"append": childAppend, "hold": childHold}

var flowHash = storetest.FlowHash()

const flowText = storetest.FlowText

const (
	childEnv = "BELAY_STORE_CHILD"
	pathEnv  = "BELAY_STORE_PATH"
)

func TestMain(m *testing.M) {
	name := os.Getenv(childEnv)
	if name == "" {
		os.Exit(m.Run())
	}
	if err := children[name](os.Getenv(pathEnv)); err != nil {
		fmt.Println("error", fault.CodeOf(err), err)
		os.Exit(1)
	}
}

// child starts this binary again and returns its output, line by line.
func child(t *testing.T, name, path string, env ...string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(append(os.Environ(), childEnv+"="+name, pathEnv+"="+path), env...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	return cmd, bufio.NewScanner(out)
}

// childHold opens the log and waits to be killed.
func childHold(path string) error {
	log, err := store.Open(path)
	if err != nil {
		return err
	}
	if err := log.SetAddress("http://127.0.0.1:4717/"); err != nil {
		return err
	}
	fmt.Println("held")
	time.Sleep(time.Minute) // the parent kills it long before
	return log.Close()
}

// childAppend appends to one session without end and tells each saved hash.
func childAppend(path string) error {
	log, err := store.Open(path)
	if err != nil {
		return err
	}
	return appendOn(log)
}

func appendOn(log *store.Log) error {
	ctx := context.Background()
	events, err := log.Events(ctx, "s")
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	for {
		next := storetest.Next("s", events, len(events))
		if err := log.Append(ctx, "s", int64(len(events)), next); err != nil {
			return err
		}
		events = append(events, next...)
		fmt.Println(next[0].Version, next[0].Hash)
	}
}

func openAt(t testing.TB, path string) *store.Log {
	t.Helper()
	log, err := store.Open(path)
	require.NoError(t, err)
	return log
}

// filled returns the path of a closed log with the session "s" of n events
// and the session "other" of two.
func filled(t *testing.T, n int) (string, []event.Envelope) {
	t.Helper()
	path := filepath.Join(quickDir(t), "log.db")
	log := openAt(t, path)
	events := storetest.Sample("s", n)
	require.NoError(t, log.PutFlow(t.Context(), storetest.FlowHash(), []byte(storetest.FlowText)))
	require.NoError(t, log.Append(t.Context(), "s", 0, events))
	require.NoError(t, log.Append(t.Context(), "other", 0, storetest.Sample("other", 2)))
	require.NoError(t, log.Close())
	return path, events
}

// plainly runs SQL on a closed log without any of the store's guards.
func plainly(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite3", path)
	require.NoError(t, err)
	_, err = db.Exec(statement)
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

func requireCode(t testing.TB, code fault.Code, err error) {
	t.Helper()
	require.Equal(t, code, fault.CodeOf(err), "%v", err)
}
