// Package paper holds what documents share that must work without Belay: the
// settings sheet, the card to take along and the charts. It has the one QR
// code and the one style hash of the program.
package paper

import (
	"crypto/sha256"
	"encoding/base64"
)

// Source returns the source expression that lets a content security policy
// allow one style or script block with exactly this text: 'sha256-...'.
// Source: W3C Content Security Policy Level 3, section 2.3.1.
func Source(block string) string {
	sum := sha256.Sum256([]byte(block))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
