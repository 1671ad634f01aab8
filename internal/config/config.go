// Package config finds Belay's data folder and keeps the token in it.
package config

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"belay/internal/fault"
)

// Environment variables that change where Belay looks.
const (
	EnvData  = "BELAY_DATA"  // the data folder
	EnvToken = "BELAY_TOKEN" // the token, instead of the one in the data folder
	EnvRoot  = "BELAY_ROOT"  // the root folder of the PC to read, instead of this one's
)

const (
	tokenFile     = "token"
	databaseFile  = "belay.db"
	heartbeatFile = "heartbeat"
)

// Folder returns the data folder on the operating system goos: chosen if it is
// not empty, else what the environment says, else the usual place for data of
// one user (XDG Base Directory Specification 0.8; the local application data
// of Windows).
func Folder(chosen, goos string, env func(string) string) (string, error) {
	if chosen == "" {
		chosen = env(EnvData)
	}
	if chosen != "" {
		return chosen, nil
	}
	if goos == "windows" {
		if base := env("LocalAppData"); base != "" {
			return filepath.Join(base, "belay"), nil
		}
		return "", noPlace()
	}
	// The specification has relative paths ignored.
	if base := env("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "belay"), nil
	}
	if home := env("HOME"); home != "" {
		return filepath.Join(home, ".local", "share", "belay"), nil
	}
	return "", noPlace()
}

func noPlace() error {
	return fault.New(fault.Invalid, "Belay cannot find a place for its data.", "Name a folder with --data.")
}

// Make makes the data folder, readable by its owner only, if it is missing.
func Make(folder string) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fault.New(fault.Unavailable, "The data folder cannot be made: "+folder,
			"Check that you may write there, or name another folder with --data.").Because(err)
	}
	return nil
}

// Database returns the path of the log of all sessions.
func Database(folder string) string { return filepath.Join(folder, databaseFile) }

// Heartbeat returns the path of the signs of life that date a crash.
func Heartbeat(folder string) string { return filepath.Join(folder, heartbeatFile) }

// Token returns the token that programs send: the one of the environment, else
// the one in the folder, which is made at first use. The folder must be there.
func Token(folder string, env func(string) string) (string, error) {
	if token := env(EnvToken); token != "" {
		if strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) {
			return "", fault.New(fault.Invalid, "The token in "+EnvToken+" holds a blank or an unusual character.",
				"Use letters and digits.")
		}
		return token, nil
	}
	path := filepath.Join(folder, tokenFile)
	token, err := makeToken(path)
	if errors.Is(err, fs.ErrExist) {
		return readToken(path)
	}
	if err != nil {
		return "", fault.New(fault.Unavailable, "The token cannot be saved: "+path,
			"Check that you may write there, and that the disk is not full.").Because(err)
	}
	return token, nil
}

// makeToken writes a new token of 128 random bits, unless there is a file.
func makeToken(path string) (string, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", err
	}
	var secret [16]byte
	_, err = rand.Read(secret[:])
	token := hex.EncodeToString(secret[:])
	if err == nil {
		_, err = file.WriteString(token + "\n")
	}
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return "", errors.Join(err, os.Remove(path))
	}
	return token, nil
}

var tokenPattern = regexp.MustCompile(`^[0-9a-f]{32}$`)

func readToken(path string) (string, error) {
	body, err := os.ReadFile(path)
	if err != nil {
		return "", fault.New(fault.Unavailable, "The token cannot be read: "+path, "Check that you may read this file.").Because(err)
	}
	token := strings.TrimSpace(string(body))
	if strings.Trim(token, "\x00") == "" { // the PC stopped while it was made, and nobody has it
		if err := os.Remove(path); err == nil {
			return makeToken(path)
		}
	}
	if !tokenPattern.MatchString(token) {
		return "", fault.New(fault.Corrupt, "The token file does not hold a token: "+path,
			"Delete this file. Belay then makes a new token, which your programs need.")
	}
	return token, nil
}
