// Package bootlog reads what the operating system keeps about its starts and
// stops: the present boot, and traces of how the one before ended.
//
// Everything is read below a root folder, so that recorded trees can be read
// like the running system. What is missing or may not be read is left out:
// none of these records is reliable after a hard stop.
package bootlog

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"
	"time"

	"belay/internal/aftermath"
)

// Boot is the present run of the operating system.
type Boot struct {
	ID      string    // "" when the system gives none
	Started time.Time // wall clock; zero when not known
}

// Linux reads the present boot of a Linux system below root, "/" as an fs.FS.
func Linux(root fs.FS) Boot {
	var b Boot
	if id, err := fs.ReadFile(root, "proc/sys/kernel/random/boot_id"); err == nil {
		b.ID = strings.TrimSpace(string(id))
	}
	if stat, err := fs.ReadFile(root, "proc/stat"); err == nil {
		for line := range strings.Lines(string(stat)) {
			if s, ok := strings.CutPrefix(line, "btime "); ok {
				if n, err := strconv.ParseInt(strings.TrimSpace(s), 10, 64); err == nil {
					b.Started = time.Unix(n, 0)
				}
			}
		}
	}
	return b
}

// LinuxSigns reads the traces of the boot before, below root. Traces older
// than since are left out where they are dated.
func LinuxSigns(root fs.FS, since time.Time) []aftermath.Sign {
	signs := crashRecords(root, since)
	signs = append(signs, watchdogs(root)...)
	return append(signs, logins(root, since)...)
}

// crashRecords reads the records that the kernel leaves in persistent storage
// when it goes down, and those that were archived at the start. Kernel
// documentation, "pstore": a file is named by its type and origin.
func crashRecords(root fs.FS, since time.Time) []aftermath.Sign {
	var out []aftermath.Sign
	for _, dir := range []string{"sys/fs/pstore", "var/lib/systemd/pstore"} {
		_ = fs.WalkDir(root, dir, func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return nil // what cannot be read is left out
			}
			if info, err := d.Info(); err != nil || info.ModTime().Before(since) {
				return nil
			}
			switch base := path.Base(name); {
			case strings.HasPrefix(base, "dmesg-"):
				out = append(out, fromDump(root, name))
			case strings.HasPrefix(base, "mce-"):
				out = append(out, aftermath.Sign{Kind: aftermath.HardwareError, Detail: "The firmware kept a record of a hardware error."})
			}
			return nil
		})
	}
	return out
}

// fromDump reads the head of a kept kernel log.
func fromDump(root fs.FS, name string) aftermath.Sign {
	sign := aftermath.Sign{Kind: aftermath.StopError, Detail: "The kernel kept its last messages when it stopped with an error."}
	f, err := root.Open(name)
	if err != nil {
		return sign
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if strings.Contains(lines.Text(), "[Hardware Error]") {
			return aftermath.Sign{Kind: aftermath.HardwareError, Detail: "The kernel's last messages name a hardware error."}
		}
	}
	return sign
}

// watchdogs reads why the last boot was ended, where the watchdog's driver
// tells it. Kernel documentation, "sysfs-class-watchdog": bootstatus is a set
// of flags, 0x20 for a restart by the watchdog, 1 for one by overheating.
func watchdogs(root fs.FS) []aftermath.Sign {
	const cardReset = 0x20
	files, _ := fs.Glob(root, "sys/class/watchdog/*/bootstatus")
	for _, name := range files {
		body, err := fs.ReadFile(root, name)
		if err != nil {
			continue
		}
		if flags, err := strconv.ParseUint(strings.TrimSpace(string(body)), 0, 32); err == nil && flags&cardReset != 0 {
			return []aftermath.Sign{{Kind: aftermath.Watchdog, Detail: "A watchdog restarted the PC because it no longer answered."}}
		}
	}
	return nil
}

// logins reads the file of starts and stops: a stop is orderly if a shutdown
// stands before the newest start. The layout is that of utmp(5) on 64-bit
// Linux: records of 384 bytes.
func logins(root fs.FS, since time.Time) []aftermath.Sign {
	const (
		size      = 384
		runLevel  = 1 // with user "shutdown": the system is going down
		bootTime  = 2
		userAt    = 44
		secondsAt = 340
	)
	body, err := fs.ReadFile(root, "var/log/wtmp")
	if err != nil {
		return nil
	}
	var shutdown bool
	var boots int
	for at := len(body)/size*size - size; at >= 0 && boots < 2; at -= size {
		r := body[at : at+size]
		user, _, _ := bytes.Cut(r[userAt:userAt+32], []byte{0})
		when := time.Unix(int64(int32(binary.LittleEndian.Uint32(r[secondsAt:]))), 0)
		switch kind := binary.LittleEndian.Uint16(r); {
		case kind == bootTime:
			if boots == 0 && when.Before(since) {
				return nil // no start since then
			}
			boots++
		case kind == runLevel && string(user) == "shutdown" && boots == 1 && !when.Before(since):
			shutdown = true
		}
	}
	switch {
	case boots == 0:
		return nil
	case shutdown:
		return []aftermath.Sign{{Kind: aftermath.CleanStop, Detail: "The system recorded an orderly shutdown before this start."}}
	case boots == 2:
		return []aftermath.Sign{{Kind: aftermath.Unexpected, Detail: "The system recorded no shutdown before this start."}}
	}
	return nil
}

func hex(n uint64) string { return fmt.Sprintf("0x%X", n) }
