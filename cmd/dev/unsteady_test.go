package main

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A test that fails once and passes alone is listed; one that fails twice is a
// failure; the others of its package count once.
func TestASecondRunTellsUnsteadyFromBroken(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	require.NoError(t, os.WriteFile("go.mod", []byte("module example\n"), 0o600))
	require.NoError(t, os.WriteFile("a_test.go", []byte(`package example

import (
	"os"
	"testing"
)

func TestSound(*testing.T) {}

func TestUnsteady(t *testing.T) {
	if _, err := os.Stat("seen"); err != nil {
		_ = os.WriteFile("seen", nil, 0o600)
		t.Fatal("first run")
	}
}

func TestBroken(t *testing.T) {
	if _, err := os.Stat("mended"); err != nil {
		t.Fatal("always")
	}
}
`), 0o600))
	got, err := test(io.Discard)
	require.NoError(t, err)
	require.Equal(t, []string{"example TestUnsteady"}, got.unsteady)
	require.Equal(t, []string{"example TestBroken"}, got.failures)
	require.Equal(t, 2, got.passed)

	require.NoError(t, os.WriteFile("mended", nil, 0o600))
	require.NoError(t, os.Remove(filepath.Join(dir, "seen")))
	got, err = test(io.Discard)
	require.NoError(t, err)
	require.Empty(t, got.failures)
	require.Equal(t, 3, got.passed)
}
