package store_test

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/lossyfs"
)

func init() {
	children["append loosely"] = func(path string) error {
		log, err := store.Open(path)
		if err != nil {
			return err
		}
		if err := log.Loosen(); err != nil {
			return err
		}
		return appendOn(log)
	}
}

// mounted puts a disk at a new folder, or skips the test where that cannot be.
func mounted(t *testing.T, d *lossyfs.Disk) (path string, remove func()) {
	t.Helper()
	path = t.TempDir()
	m, err := d.Mount(path)
	if err != nil {
		t.Skip("needs FUSE and the right to mount: ", err)
	}
	remove = func() { require.NoError(t, m.Close()) }
	t.Cleanup(remove)
	return path, remove
}

// cut runs a child on a disk with files until it has acknowledged some entries,
// and cuts the power. It returns what survives.
func cut(t *testing.T, how string, files folder, luck *rand.Rand, saved acks) folder {
	t.Helper()
	disk := lossyfs.New(files)
	path, remove := mounted(t, disk)
	cmd, lines := child(t, how, filepath.Join(path, "log.db"))
	// Without any entry, the cut comes while the child opens the log.
	if entries := luck.IntN(30); entries > 0 {
		for range entries {
			require.True(t, lines.Scan())
			saved.add(t, lines.Text())
		}
		time.Sleep(time.Duration(luck.IntN(1500)) * time.Microsecond)
	} else {
		time.Sleep(time.Duration(luck.IntN(40)) * time.Millisecond)
	}
	left := disk.Cut(luck)
	drain(t, cmd, lines, saved)
	remove()
	return left
}

// drain ends a child and takes what it has said until then.
func drain(t *testing.T, cmd *exec.Cmd, lines *bufio.Scanner, saved acks) {
	t.Helper()
	require.NoError(t, cmd.Process.Kill())
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "error") {
		saved.add(t, lines.Text())
	}
	require.Error(t, cmd.Wait())
}

// after opens what survived and counts the acknowledged entries that are gone.
// It returns the folder as that leaves it, half of the time after a clean end.
func after(t *testing.T, files folder, saved acks, luck *rand.Rand) (gone int, next folder, notes []*fault.Error) {
	t.Helper()
	path := files.put(t)
	log, err := store.Open(path)
	require.NoError(t, err)
	notes = log.Notes()
	_, err = log.Verify(t.Context())
	require.NoError(t, err)
	events, err := log.Events(t.Context(), "s")
	if !fault.Is(err, fault.NotFound) {
		require.NoError(t, err)
	}
	for version, hash := range saved {
		if version > int64(len(events)) || events[version-1].Hash != hash {
			gone++
		}
	}
	clean := luck.IntN(2) == 0
	if clean {
		require.NoError(t, log.Close())
	}
	next = readFolder(t, filepath.Dir(path))
	if !clean {
		require.NoError(t, log.Close())
	}
	delete(next, "log.db-shm")
	return gone, next, notes
}

// TestPowerCuts cuts the power again and again while a process saves, or opens
// what the cut before has left. Nothing acknowledged is ever lost, and no cut
// is taken for damage. The same rig finds losses where the syncs are left out.
func TestPowerCuts(t *testing.T) {
	const seed = 5
	const perDisk = 6 // cuts, one after another
	luck := rand.New(rand.NewPCG(seed, 2))
	cuts, entries := heavy(60, 200), 0
	for n := 0; n < cuts; {
		files, saved := folder{}, acks{}
		for i := 0; i < perDisk && n < cuts; i++ {
			message := fmt.Sprintf("seed %d, cut %d", seed, n)
			gone, next, notes := after(t, cut(t, "append", files, luck, saved), saved, luck)
			require.Zero(t, gone, message)
			require.Empty(t, notes, message)
			files = next
			n++
		}
		entries += len(saved)
	}
	t.Logf("%d cuts, seed %d: %d acknowledged entries, none lost", cuts, seed, entries)

	lost, losing := 0, 0
	loose := heavy(12, 60)
	for range loose {
		saved := acks{}
		gone, _, _ := after(t, cut(t, "append loosely", folder{}, luck, saved), saved, luck)
		lost += gone
		if gone > 0 {
			losing++
		}
	}
	t.Logf("%d cuts with synchronous=NORMAL and no sync of the witness: %d lost entries, in %d cuts", loose, lost, losing)
	require.Positive(t, lost, "the rig bites")
}

// TestLossyDisk shows that the rig forgets what it should and nothing else.
func TestLossyDisk(t *testing.T) {
	luck := rand.New(rand.NewPCG(1, 1))
	torn, gone := 0, 0
	for range 20 {
		disk := lossyfs.New(map[string][]byte{"old": []byte("old")})
		path, remove := mounted(t, disk)
		file, err := os.Create(filepath.Join(path, "new"))
		require.NoError(t, err)
		_, err = file.WriteString("synced")
		require.NoError(t, err)
		require.NoError(t, file.Sync())
		_, err = file.WriteAt(make([]byte, 4096), 6)
		require.NoError(t, err)
		folder, err := os.Open(path)
		require.NoError(t, err)
		require.NoError(t, folder.Sync())
		require.NoError(t, folder.Close())
		require.NoError(t, os.Rename(filepath.Join(path, "old"), filepath.Join(path, "moved")))
		left := disk.Cut(luck)
		_, err = file.Write([]byte("x"))
		require.Error(t, err, "the power is off")
		_ = file.Close()
		remove()
		require.Equal(t, "synced", string(left["new"][:6]))
		if n := len(left["new"]); n != 6 && n != 6+4096 {
			torn++
		}
		if _, there := left["old"]; !there {
			require.Equal(t, "old", string(left["moved"]))
			gone++
		}
	}
	require.Positive(t, torn)
	require.Positive(t, gone)
	require.Less(t, gone, 20)
}
