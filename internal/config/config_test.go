package config

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

func env(values map[string]string) func(string) string {
	return func(name string) string { return values[name] }
}

func TestFolder(t *testing.T) {
	root := t.TempDir()
	home, xdg := filepath.Join(root, "home"), filepath.Join(root, "xdg")
	for name, c := range map[string]struct {
		chosen, goos string
		env          map[string]string
		want         string
	}{
		"chosen":       {"here", "linux", map[string]string{EnvData: "there", "HOME": home}, "here"},
		"environment":  {"", "linux", map[string]string{EnvData: "there", "HOME": home}, "there"},
		"xdg":          {"", "linux", map[string]string{"XDG_DATA_HOME": xdg, "HOME": home}, filepath.Join(xdg, "belay")},
		"relative xdg": {"", "linux", map[string]string{"XDG_DATA_HOME": "xdg", "HOME": home}, filepath.Join(home, ".local", "share", "belay")},
		"home":         {"", "linux", map[string]string{"HOME": home}, filepath.Join(home, ".local", "share", "belay")},
		"windows":      {"", "windows", map[string]string{"LocalAppData": home, "HOME": "x"}, filepath.Join(home, "belay")},
	} {
		got, err := Folder(c.chosen, c.goos, env(c.env))
		require.NoError(t, err, name)
		require.Equal(t, c.want, got, name)
	}
	for _, goos := range []string{"linux", "windows"} {
		_, err := Folder("", goos, env(nil))
		require.True(t, fault.Is(err, fault.Invalid), goos)
	}
}

func TestTokenIsMadeOnce(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "a", "b")
	require.NoError(t, Make(folder))
	first, err := Token(folder, env(nil))
	require.NoError(t, err)
	require.Regexp(t, `^[0-9a-f]{32}$`, first)
	second, err := Token(folder, env(nil))
	require.NoError(t, err)
	require.Equal(t, first, second)
	other := t.TempDir()
	third, err := Token(other, env(nil))
	require.NoError(t, err)
	require.NotEqual(t, first, third)
	if runtime.GOOS != "windows" { // which has no such modes
		for path, mode := range map[string]os.FileMode{folder: 0o700, filepath.Join(folder, tokenFile): 0o600} {
			info, err := os.Stat(path)
			require.NoError(t, err)
			require.Equal(t, mode, info.Mode().Perm(), path)
		}
	}
}

func TestTokenOfTheEnvironment(t *testing.T) {
	folder := t.TempDir()
	token, err := Token(folder, env(map[string]string{EnvToken: "abc123"}))
	require.NoError(t, err)
	require.Equal(t, "abc123", token)
	require.NoFileExists(t, filepath.Join(folder, tokenFile))
	for _, bad := range []string{"a b", "a\n", "ä"} {
		_, err = Token(folder, env(map[string]string{EnvToken: bad}))
		require.True(t, fault.Is(err, fault.Invalid), "%q", bad)
	}
}

func TestTokenRefusesABrokenFile(t *testing.T) {
	for _, body := range []string{"short", "0123456789abcdef0123456789abcdeX"} {
		folder := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(folder, tokenFile), []byte(body), 0o600))
		_, err := Token(folder, env(nil))
		require.True(t, fault.Is(err, fault.Corrupt), "%q", body)
	}
}

func TestTokenSaysWhenTheFolderIsMissing(t *testing.T) {
	_, err := Token(filepath.Join(t.TempDir(), "gone"), env(nil))
	require.True(t, fault.Is(err, fault.Unavailable))
}

func TestTokenThatAPowerCutLeftEmpty(t *testing.T) {
	for _, left := range []string{"", "\x00\x00\x00\x00"} {
		folder := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(folder, "token"), []byte(left), 0o600))
		token, err := Token(folder, func(string) string { return "" })
		require.NoError(t, err)
		require.Len(t, token, 32)
		again, err := Token(folder, func(string) string { return "" })
		require.NoError(t, err)
		require.Equal(t, token, again)
	}
}
