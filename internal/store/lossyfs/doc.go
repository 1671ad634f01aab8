// Package lossyfs is a file system for tests that forgets what was not synced.
//
// It keeps the files of one folder in memory. Reads see every write, as on a
// running PC. A cut of the power loses what no sync has confirmed: of those
// writes any may survive, whole or in sectors of 512 bytes, and of the changes
// of names any too. It can also fail chosen operations, and be full. It runs
// on Linux, through FUSE, as a user who may mount.
package lossyfs
