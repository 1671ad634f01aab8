package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/session"
)

// fakeDesk is a data folder with one session, s1.
type fakeDesk struct {
	restored Restored
	report   Report
	events   error
	closed   int
}

var errNoSession = fault.New(fault.NotFound, "There is no session of this name.", "List the sessions.")

func (d *fakeDesk) List(context.Context) ([]assist.Summary, error) {
	return []assist.Summary{{ID: "s1", Title: "My \x1b[31mPC", Stage: "core", Updated: time.Unix(0, 0)}}, nil
}

func (d *fakeDesk) View(_ context.Context, id string) (session.View, error) {
	if id != "s1" {
		return session.View{}, errNoSession
	}
	return session.View{ID: "s1", Title: "My PC", Practice: &event.Practice{}}, nil
}

func (d *fakeDesk) Events(context.Context, string) ([]event.Envelope, error) {
	return make([]event.Envelope, 2), d.events
}

func (d *fakeDesk) ExportSession(context.Context, string) (assist.Document, error) {
	return assist.Document{Body: []byte("{}\n")}, nil
}

func (d *fakeDesk) Import(_ context.Context, doc []byte) (string, error) {
	if string(doc) != "{}\n" {
		return "", fault.New(fault.Invalid, "no", "next")
	}
	return "s1", nil
}

func (d *fakeDesk) Sheet(_ context.Context, _, format string) (assist.Document, error) {
	return assist.Document{Body: []byte("sheet as " + format)}, nil
}

func (d *fakeDesk) Verify(context.Context) (Report, error) { return d.report, nil }
func (d *fakeDesk) Backup(_ context.Context, file string) error {
	return os.WriteFile(file, nil, 0o600)
}
func (d *fakeDesk) Restore(context.Context, string) (Restored, error) { return d.restored, d.events }
func (d *fakeDesk) Close() error                                      { d.closed++; return nil }

// result is what one command line gave.
type result struct {
	code     int
	out, err string
}

// belay runs a command line over a desk, with its data in a folder of the test.
func belay(t *testing.T, d *fakeDesk, args ...string) result {
	t.Helper()
	t.Setenv("BELAY_DATA", t.TempDir())
	var out, messages bytes.Buffer
	code := Run(t.Context(), args, Ports{
		Version: "1.2.3",
		Open:    func(string) (Desk, error) { return d, nil },
		Serve: func(_ context.Context, o ServeOptions, out, _ io.Writer) error {
			return json.NewEncoder(out).Encode(o)
		},
	}, &out, &messages)
	return result{code, out.String(), messages.String()}
}

func TestUsage(t *testing.T) {
	for _, line := range []string{
		"no-such-command", "serve --no-such-flag", "serve extra", "serve --flows /no/such/folder", "flow", "flow check", "flow draw a b",
		"session show", "session export", "sheet s1", "sheet s1 --format doc", "backup",
	} {
		r := belay(t, &fakeDesk{}, strings.Fields(line)...)
		require.Equal(t, 2, r.code, line)
		require.Empty(t, r.out, line)
		require.Contains(t, r.err, "belay --help", line)
	}
	r := belay(t, &fakeDesk{}, "--help")
	require.Equal(t, 0, r.code)
	require.Contains(t, r.out, "session list")
	require.Equal(t, result{0, "belay 1.2.3\n", ""}, belay(t, &fakeDesk{}, "version"))
}

func TestServeIsTheDefault(t *testing.T) {
	options := func(r result) (o ServeOptions) {
		require.Equal(t, 0, r.code, r.err)
		require.NoError(t, json.Unmarshal([]byte(r.out), &o))
		require.DirExists(t, o.Folder)
		o.Folder = ""
		return o
	}
	require.Equal(t, ServeOptions{Addr: "127.0.0.1:8420", Browse: true}, options(belay(t, nil)))
	require.Equal(t, ServeOptions{Addr: "127.0.0.1:1"}, options(belay(t, nil, "--no-open", "--addr", "127.0.0.1:1")))
	flows := t.TempDir()
	require.Equal(t, ServeOptions{Addr: "127.0.0.1:8420", Flows: flows}, options(belay(t, nil, "serve", "--no-open", "--flows", flows)))
}

func TestToken(t *testing.T) {
	folder := t.TempDir()
	first := belay(t, nil, "token", "--data", folder)
	require.Equal(t, 0, first.code)
	require.Regexp(t, `^[0-9a-f]{32}\n$`, first.out)
	require.Equal(t, first, belay(t, nil, "token", "--data", folder))
	t.Setenv("BELAY_TOKEN", "mine")
	require.Equal(t, "mine\n", belay(t, nil, "token", "--data", folder).out)
}

// copied copies the guides that come with Belay.
func copied(t *testing.T) string {
	folder := t.TempDir()
	require.NoError(t, os.CopyFS(folder, os.DirFS("../../flows")))
	return folder
}

func TestFlowCheck(t *testing.T) {
	sound := belay(t, nil, "flow", "check", "../../flows/desktop.yaml")
	require.Equal(t, 0, sound.code, sound.out+sound.err)
	require.Contains(t, sound.out, "sound")

	folder := copied(t)
	file := filepath.Join(folder, "desktop.yaml")
	body, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, append(body, "no_such_key: 1\n"...), 0o600))
	broken := belay(t, nil, "flow", "check", "../../flows/desktop.yaml", file)
	require.Equal(t, 3, broken.code)
	require.Contains(t, broken.out, "no_such_key")
	require.Contains(t, broken.out, "desktop.yaml: sound")
	require.Empty(t, broken.err)

	missing := belay(t, nil, "flow", "check", filepath.Join(folder, "absent.yaml"), file)
	require.Equal(t, 1, missing.code)
	require.Contains(t, missing.out, "no_such_key", "the other file is checked")
	require.Equal(t, 1, belay(t, nil, "flow", "check", "README").code)

	draw := belay(t, nil, "flow", "draw", file)
	require.Equal(t, 1, draw.code)
	require.Empty(t, draw.out)
	draw = belay(t, nil, "flow", "draw", "../../flows/desktop.yaml")
	require.Equal(t, 0, draw.code)
	require.True(t, strings.HasPrefix(draw.out, "stateDiagram-v2\n"))
}

func TestSession(t *testing.T) {
	d := &fakeDesk{}
	list := belay(t, d, "session", "list")
	require.Equal(t, 0, list.code)
	require.Contains(t, list.out, "s1")
	require.NotContains(t, list.out, "\x1b", "a title cannot steer the terminal")
	var sums []assist.Summary
	require.NoError(t, json.Unmarshal([]byte(belay(t, d, "session", "list", "--json").out), &sums))
	require.Equal(t, "core", sums[0].Stage)

	require.Contains(t, belay(t, d, "session", "show", "s1").out, "PC: simulated\n")
	var view session.View
	require.NoError(t, json.Unmarshal([]byte(belay(t, d, "session", "show", "s1", "--json").out), &view))
	require.Equal(t, "My PC", view.Title)
	require.Equal(t, result{1, "", "There is no session of this name.\nList the sessions.\n"}, belay(t, d, "session", "show", "s2"))
	require.Equal(t, 5, d.closed)
}

func TestVerify(t *testing.T) {
	sound := belay(t, &fakeDesk{report: Report{Sessions: 1, Events: 2}}, "session", "verify")
	require.Equal(t, result{0, "All data is sound: 1 session with 2 saved entries, 0 guides.\n", ""}, sound)
	bad := fault.New(fault.Corrupt, "Entry 2 was changed.", "Restore a backup.")
	damaged := belay(t, &fakeDesk{report: Report{Damage: []Damage{{"s1", bad}}}}, "session", "verify")
	require.Equal(t, result{3, "Session s1: Entry 2 was changed.\n  Restore a backup.\n", ""}, damaged)
	require.Equal(t, 0, belay(t, &fakeDesk{}, "session", "verify", "s1").code)
	one := belay(t, &fakeDesk{events: fault.Wrap("read", bad)}, "session", "verify", "s1")
	require.Equal(t, result{3, "", "Entry 2 was changed.\nRestore a backup.\n"}, one)
	require.Equal(t, 1, belay(t, &fakeDesk{events: errNoSession}, "session", "verify", "s1").code)
}

func TestRestore(t *testing.T) {
	d := &fakeDesk{restored: Restored{Added: []string{"a", "b"}, Differ: []string{"c"}}}
	want := "Restored: a, b\nWent another way here, and left as it is: c\n"
	require.Equal(t, result{0, "", want}, belay(t, d, "restore", "x.db"))
	bad := &fakeDesk{events: fault.New(fault.Corrupt, "This backup is damaged.", "Use another backup.")}
	require.Equal(t, result{1, "", "This backup is damaged.\nUse another backup.\n"}, belay(t, bad, "restore", "x.db"))
}

func TestFilesAreNeverOverwritten(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s1.json")
	require.Equal(t, "{}\n", belay(t, &fakeDesk{}, "session", "export", "s1").out)
	written := belay(t, &fakeDesk{}, "session", "export", "s1", "-o", file)
	require.Equal(t, 0, written.code)
	require.Empty(t, written.out)
	require.Equal(t, 1, belay(t, &fakeDesk{}, "sheet", "s1", "--format", "md", "-o", file).code)
	require.Equal(t, result{0, "s1\n", ""}, belay(t, &fakeDesk{}, "session", "import", file))
	require.Equal(t, 1, belay(t, &fakeDesk{}, "session", "import", file+"x").code)
	require.Equal(t, "sheet as md", belay(t, &fakeDesk{}, "sheet", "s1", "--format", "md").out)
	require.Equal(t, 0, belay(t, &fakeDesk{}, "backup", file+".db").code)
	require.FileExists(t, file+".db")
}

func TestReportTellsNoChain(t *testing.T) {
	f := fault.New(fault.Invalid, "A field is wrong.", "Correct it.").Because(errors.New("secret cause"))
	f.Fields = []fault.Field{{Field: "title", Message: "It is too long."}}
	var b bytes.Buffer
	require.Equal(t, 1, report(&b, fault.Wrap("cli.secretOp", f)))
	require.Equal(t, "A field is wrong.\nCorrect it.\ntitle: It is too long.\n", b.String())
	b.Reset()
	require.Equal(t, 1, report(&b, errors.New("secret cause")))
	require.NotContains(t, b.String(), "secret")
	require.Contains(t, b.String(), "Something went wrong inside Belay.\n")
	b.Reset()
	require.Equal(t, 1, report(&b, fault.Wrap("x", context.Canceled)))
	require.Contains(t, b.String(), "stopped")
}
