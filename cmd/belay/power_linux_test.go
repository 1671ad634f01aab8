package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/config"
	"belay/internal/store/lossyfs"
)

// TestServerPowerCuts cuts the power of the whole program on a disk that
// forgets, while it answers requests. Afterwards every acknowledged answer is
// there, and the one that was on its way counts once.
func TestServerPowerCuts(t *testing.T) {
	const seed = 41
	cuts := 2
	if os.Getenv("BELAY_LONG") != "" {
		cuts = 40
	}
	t.Setenv(config.EnvToken, "token-of-the-test")
	luck := rand.New(rand.NewPCG(seed, 1))
	files, sent := map[string][]byte{}, 0
	w := &traveller{t: t, token: "token-of-the-test"}
	for n := range cuts {
		disk := lossyfs.New(files)
		path := t.TempDir()
		mount, err := disk.Mount(path)
		if err != nil {
			t.Skip("needs FUSE and the right to mount: ", err)
		}
		t.Cleanup(func() { require.NoError(t, mount.Close()) })
		server, base := child(t, path)
		w.base = base
		w.begin(uint64(n + 1))
		var acked struct {
			Version int64
			Prompt  prompt
		}
		require.NoError(t, w.get("/sessions/"+w.id+"/prompt", &acked.Prompt))
		off := make(chan map[string][]byte, 1)
		time.AfterFunc(time.Duration(200+luck.IntN(1500))*time.Millisecond, func() { off <- disk.Cut(luck) })
		key, body := "", map[string]any(nil)
		for !acked.Prompt.Finished {
			sent++
			key, body = fmt.Sprintf("key-%d", sent), w.reply(acked.Prompt)
			code, text, err := w.call(http.MethodPost, "/sessions/"+w.id+"/answers", key, body)
			if err != nil || code != http.StatusOK {
				break // the power is off
			}
			acked.Prompt = prompt{}
			require.NoError(t, json.Unmarshal(text, &acked))
		}
		left := <-off
		require.NoError(t, server.Process.Kill())
		_ = server.Wait()
		require.NoError(t, mount.Close())

		folder := t.TempDir()
		for name, data := range left {
			if filepath.Ext(name) != ".db-shm" {
				require.NoError(t, os.WriteFile(filepath.Join(folder, name), data, 0o600))
			}
		}
		server, w.base = child(t, folder)
		w.afterKill(acked.Version, acked.Prompt, key, body)
		var health struct {
			Integrity string
			Notices   []string
		}
		require.NoError(t, w.get("/health", &health))
		require.Equal(t, "ok", health.Integrity, "seed %d, cut %d", seed, n)
		require.Empty(t, health.Notices, "seed %d, cut %d", seed, n)
		require.NoError(t, server.Process.Kill())
		_ = server.Wait()
		files = map[string][]byte{}
		for _, name := range []string{"belay.db", "belay.db-wal", "belay.db.witness"} {
			if data, err := os.ReadFile(filepath.Join(folder, name)); err == nil {
				files[name] = data
			}
		}
	}
	t.Logf("%d cuts, seed %d: %d answers sent, no acknowledged one lost", cuts, seed, sent)
}
