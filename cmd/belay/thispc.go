package main

import (
	"os"
	"path/filepath"

	"belay/internal/config"
	"belay/internal/rig"
	"belay/internal/sensorlog"
	"belay/internal/trial"
)

// thisPC reads what the guide may offer as known about the PC that Belay runs
// on, or about the one whose files the environment names. A PC that cannot be
// read offers nothing.
func thisPC() (trial.Values, map[string]string) {
	m, err := rig.Here()
	if root := os.Getenv(config.EnvRoot); root != "" {
		m, err = rig.At(root)
	}
	if err != nil {
		return nil, nil
	}
	return m.Read().Offer()
}

// columnsOf remembers the columns of logs in the data folder.
func columnsOf(folder string) *sensorlog.Memory {
	return sensorlog.NewMemory(filepath.Join(folder, "columns.json"))
}

// heldIn keeps logs in the data folder until their columns are confirmed.
func heldIn(folder string) *sensorlog.Held {
	return sensorlog.NewHeld(filepath.Join(folder, "waiting-logs"))
}
