package wording

import "strings"

// signals are the words, style names and pictures of the signal words.
// Source of words: ISO 3864-2 and the NOTICE of the common North American
// label style, which never carries the triangle.
var signals = map[string][3]string{
	"NOTICE":  {"Notice", "notice", "note"},
	"CAUTION": {"Caution", "caution", "triangle"},
	"WARNING": {"Warning", "warning", "triangle"},
}

// Signal returns the word, the style name and the picture of a signal word.
// An unknown one is never shown as a lesser one: it is a warning.
func Signal(signal string) (word, class, icon string) {
	s, ok := signals[strings.ToUpper(signal)]
	if !ok {
		s = signals["WARNING"]
	}
	return s[0], s[1], s[2]
}
