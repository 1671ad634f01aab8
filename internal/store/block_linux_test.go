package store_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/store/lossyfs"
)

// imageSize is the smallest image on which ext4 keeps a journal of its own
// accord, with room for the data, in bytes. Chosen.
const imageSize = 24 << 20

// tool runs a program of the system and returns what it printed.
func tool(name string, args ...string) (string, error) {
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		err = fmt.Errorf("%s %v: %w: %s", name, args, err, out)
	}
	return strings.TrimSpace(string(out)), err
}

// blockDisk puts an ext4 file system on a disk that forgets: its image is the
// only file there, and a loop device makes a block device of it.
type blockDisk struct {
	disk         *lossyfs.Disk
	device, path string
	under        func()
}

// attach mounts an image. remove takes everything away, whatever state it is in.
func attach(t *testing.T, image []byte) *blockDisk {
	t.Helper()
	b := &blockDisk{disk: lossyfs.New(map[string][]byte{"image": image}), path: t.TempDir()}
	under, remove := mounted(t, b.disk)
	b.under = remove
	device, err := tool("losetup", "--find", "--show", filepath.Join(under, "image"))
	if err != nil {
		t.Skip("needs loop devices: ", err)
	}
	b.device = device
	t.Cleanup(b.remove)
	if _, err := tool("mount", "-t", "ext4", device, b.path); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *blockDisk) remove() {
	if b.device == "" {
		return
	}
	_, _ = tool("umount", "--lazy", b.path) // after a cut it cannot end cleanly
	_, _ = tool("losetup", "--detach", b.device)
	b.device = ""
	b.under()
}

// emptyImage makes an empty ext4 file system, or skips the test.
func emptyImage(t *testing.T) []byte {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("needs the right to mount block devices")
	}
	path := filepath.Join(quickDir(t), "image")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	require.NoError(t, os.Truncate(path, imageSize))
	if _, err := tool("mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0", path); err != nil {
		t.Skip("needs mkfs.ext4: ", err)
	}
	image, err := os.ReadFile(path)
	require.NoError(t, err)
	return image
}

// TestPowerCutsUnderExt4 cuts the power below a real file system with a journal:
// block writes that no flush has confirmed are lost or torn.
func TestPowerCutsUnderExt4(t *testing.T) {
	const seed = 11
	image := emptyImage(t)
	luck := rand.New(rand.NewPCG(seed, 5))
	cuts, entries := heavy(1, 30), 0
	for n := range cuts {
		message := fmt.Sprintf("seed %d, cut %d", seed, n)
		saved := acks{}
		left := cutBlocks(t, "append", image, luck, saved)
		files := recovered(t, left)
		gone, _, notes := after(t, files, saved, luck)
		require.Zero(t, gone, message)
		require.Empty(t, notes, message)
		entries += len(saved)
	}
	t.Logf("%d cuts, seed %d: %d acknowledged entries, none lost", cuts, seed, entries)
	lost, loose := 0, heavy(1, 10)
	for range loose {
		saved := acks{}
		gone, _, _ := after(t, recovered(t, cutBlocks(t, "append loosely", image, luck, saved)), saved, luck)
		lost += gone
	}
	t.Logf("%d cuts with synchronous=NORMAL and no sync of the witness: %d lost entries", loose, lost)
	require.Positive(t, lost, "the rig bites")
}

// cutBlocks is cut, below a file system.
func cutBlocks(t *testing.T, how string, image []byte, luck *rand.Rand, saved acks) []byte {
	t.Helper()
	b := attach(t, image)
	defer b.remove()
	cmd, lines := child(t, how, filepath.Join(b.path, "log.db"))
	for range 20 + luck.IntN(60) {
		require.True(t, lines.Scan())
		saved.add(t, lines.Text())
	}
	time.Sleep(time.Duration(luck.IntN(3000)) * time.Microsecond)
	left := b.disk.Cut(luck)
	drain(t, cmd, lines, saved)
	return left["image"]
}

// recovered mounts what a cut has left, on a disk that keeps everything, and
// returns the files.
func recovered(t *testing.T, image []byte) folder {
	t.Helper()
	b := attach(t, image)
	defer b.remove()
	files := folder{}
	for _, name := range namesIn(t, b.path) {
		if strings.HasPrefix(name, "log.db") && !strings.HasSuffix(name, "-shm") {
			data, err := os.ReadFile(filepath.Join(b.path, name))
			require.NoError(t, err)
			files[name] = data
		}
	}
	_, err := tool("umount", b.path)
	require.NoError(t, err)
	return files
}
