package main

import (
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadCountsInnermostTests(t *testing.T) {
	stream := `{"Action":"output","Package":"p","Test":"TestA/x","Output":"hello\n"}
{"Action":"pass","Package":"p","Test":"TestA/x"}
{"Action":"fail","Package":"p","Test":"TestA/y"}
{"Action":"fail","Package":"p","Test":"TestA"}
{"Action":"output","Package":"p","Test":"TestB","Output":"=== RUN TestB\n"}
{"Action":"output","Package":"p","Test":"TestB","Output":"    b_test.go:1: no browser\n"}
{"Action":"skip","Package":"p","Test":"TestB"}
{"Action":"fail","Package":"p"}
{"Action":"pass","Package":"q","Test":"TestC"}
{"Action":"pass","Package":"q"}
`
	got, err := read(strings.NewReader(stream), io.Discard)
	require.NoError(t, err)
	require.Equal(t, 2, got.passed)
	require.Equal(t, []string{"p TestA/y"}, got.failures)
	require.Equal(t, []string{"p TestB: b_test.go:1: no browser"}, got.skips)
}

func TestReadCountsAPackageThatDoesNotBuild(t *testing.T) {
	got, err := read(strings.NewReader(`{"Action":"fail","Package":"p"}`), io.Discard)
	require.NoError(t, err)
	require.Equal(t, []string{"p"}, got.failures)
}

// A test that fails outside its inner tests counts, and so does one whose
// process died.
func TestReadCountsAnOuterTest(t *testing.T) {
	got, err := read(strings.NewReader(`{"Action":"pass","Package":"p","Test":"TestA/x"}
{"Action":"fail","Package":"p","Test":"TestA"}
{"Action":"fail","Package":"p"}
{"Action":"fail","Package":"q"}
`), io.Discard)
	require.NoError(t, err)
	require.Equal(t, 1, got.passed)
	require.Equal(t, []string{"p TestA", "q"}, got.failures)
	require.Equal(t, []string{"p", "q"}, packages(got.failures))
	require.Equal(t, []string{"p TestA"}, of("p", got.failures))
}

func TestUsage(t *testing.T) {
	require.Equal(t, 2, run([]string{"paint"}, io.Discard, io.Discard))
}
