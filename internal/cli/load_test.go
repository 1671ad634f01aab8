package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/load"
	"belay/internal/load/kernel"
)

// TestMain makes the test program the child of its own loads.
func TestMain(m *testing.M) {
	if load.IsChild(os.Args) {
		os.Exit(load.Child(os.Stdin, os.Stdout))
	}
	os.Exit(m.Run())
}

func runLoad(ctx context.Context, ports Ports, args ...string) (code int, out, messages string) {
	var o, m bytes.Buffer
	code = Run(ctx, append([]string{"load"}, args...), ports, &o, &m)
	return code, o.String(), m.String()
}

// ended is a load that has ended.
type ended struct {
	result load.Result
	err    error
}

func (e ended) Stop() {}
func (e ended) Done() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}
func (e ended) Wait() (load.Result, error) { return e.result, e.err }

// ending makes ports whose loads end like this, and keeps what was asked for.
func ending(e ended, asked *load.Spec) Ports {
	return Ports{StartLoad: func(s load.Spec, o load.Options) (Load, error) {
		*asked = s
		if len(e.result.Errors) > 0 {
			o.Progress(load.Progress{Errors: e.result.Errors, Wrong: len(e.result.Errors)})
		}
		return e, nil
	}}
}

func TestLoadPrintsOneLineOfJSON(t *testing.T) {
	if !kernel.Available {
		t.Skip("built without a C compiler: there are no loads")
	}
	code, out, _ := runLoad(context.Background(), Ports{}, "scalar", "--minutes", "0.003", "--json")
	require.Equal(t, done, code)
	require.Equal(t, 1, bytes.Count([]byte(out), []byte("\n")))
	var got map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	require.Equal(t, "scalar", got["kind"])
	require.Empty(t, got["errors"])
	for _, key := range []string{"seconds", "cores", "score", "unit", "errors", "checked"} {
		require.Contains(t, got, key)
	}
	require.Positive(t, got["checked"])
}

func TestLoadThatFindsErrorsHasItsExitCode(t *testing.T) {
	var asked load.Spec
	wrong := load.Error{Core: 3, AtS: 12.3, Expected: "a", Got: "b", Bits: []int{1}, Check: "product", Place: "row 1"}
	ports := ending(ended{result: load.Result{Kind: "scalar", Cores: []int{3}, Errors: []load.Error{wrong}, Wrong: 1, Ended: load.Failed}}, &asked)
	code, out, messages := runLoad(context.Background(), ports, "scalar", "--minutes", "1", "--cores", "3")
	require.Equal(t, refuted, code)
	require.Contains(t, messages, "Core 3, after 12.3 s: product, row 1: expected a, got b.")
	require.Contains(t, out, "1 error")
	code, out, _ = runLoad(context.Background(), ports, "scalar", "--minutes", "1", "--json")
	require.Equal(t, refuted, code)
	require.Contains(t, out, `"errors":[{"core":3,"at_s":12.3,"expected":"a","got":"b","bits":[1]`)
}

func TestLoadTakesItsOptions(t *testing.T) {
	var asked load.Spec
	ports := ending(ended{result: load.Result{Kind: load.Memory, Ended: load.Completed}}, &asked)
	code, _, _ := runLoad(context.Background(), ports, "memory", "--minutes", "0.5", "--cores", "0, 2-4", "--size", "1.5", "--width", "256", "--keep-going")
	require.Equal(t, done, code)
	require.Equal(t, load.Spec{Kind: load.Memory, Duration: 30e9, Cores: []int{0, 2, 3, 4}, Size: 3 << 29, Width: 256, KeepGoing: true}, asked)
}

func TestLoadStoppedIsNotDone(t *testing.T) {
	var asked load.Spec
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	code, out, messages := runLoad(ctx, ending(ended{result: load.Result{Kind: "idle", Ended: load.Stopped}}, &asked), "idle", "--minutes", "9")
	require.Equal(t, failed, code)
	require.Contains(t, messages, "stopped")
	require.Contains(t, out, "Idle")
}

func TestLoadThatCannotRunSaysWhy(t *testing.T) {
	var asked load.Spec
	refusal := fault.New(fault.Limit, "Too little memory.", "Close programs.")
	code, out, messages := runLoad(context.Background(), ending(ended{err: refusal}, &asked), "memory", "--minutes", "9")
	require.Equal(t, failed, code)
	require.Empty(t, out)
	require.Contains(t, messages, "Too little memory.\nClose programs.")
}

func TestLoadRefusesWhatMakesNoSense(t *testing.T) {
	for _, args := range [][]string{
		{"scalar"}, {"scalar", "--minutes", "0"}, {"scalar", "--minutes", "-1"}, {"scalar", "--minutes", "NaN"}, {"warm", "--minutes", "1"},
		{"scalar", "--minutes", "1", "--cores", "a"}, {"scalar", "--minutes", "1", "--cores", "3-1"}, {"scalar", "--minutes", "1", "--cores", "0,0"},
		{"scalar", "--minutes", "1", "--cores", "0-99999999"}, {"memory", "--minutes", "1", "--size", "-1"}, {"scalar", "--minutes", "1", "--size", "1"},
		{"wide-vector", "--minutes", "1", "--width", "96"},
	} {
		code, out, messages := runLoad(context.Background(), Ports{}, args...)
		require.Equal(t, misused, code, "%v: %s", args, messages)
		require.Empty(t, out)
		require.NotEmpty(t, messages)
	}
}
