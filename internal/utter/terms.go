package utter

import (
	"strings"

	"belay/internal/flow"
)

// term returns the glossary term that the text names, the longest if several
// do.
func (r *reader) term() *flow.Term {
	var best *flow.Term
	length := 0
	for k := range r.scene.Terms {
		t := &r.scene.Terms[k]
		for _, n := range append([]string{t.Term}, t.Also...) {
			words := strings.FieldsFunc(strings.ToLower(n), notWord)
			for i := range r.tokens {
				if len(n) > length && r.matchTerm(i, words) {
					best, length = t, len(n)
				}
			}
		}
	}
	if best == nil {
		return r.onlyTermWith()
	}
	return best
}

// onlyTermWith returns the one term that has a word of the question in its
// name: "what is training".
func (r *reader) onlyTermWith() *flow.Term {
	var best *flow.Term
	for i := range r.tokens {
		w := wordAt(r.tokens, i)
		if len(w) < 5 || fillerSet[w] || questionWords[w] {
			continue
		}
		for k := range r.scene.Terms {
			t := &r.scene.Terms[k]
			for _, n := range strings.FieldsFunc(strings.ToLower(t.Term), notWord) {
				if stem(n) != stem(w) || best == t {
					continue
				}
				if best != nil {
					return nil // more than one
				}
				best = t
			}
		}
	}
	return best
}

// stem cuts the usual endings off, so that "throttled" finds "throttling".
func stem(w string) string {
	for _, end := range []string{"ing", "ed", "es", "s", "e"} {
		if len(w)-len(end) >= 4 && strings.HasSuffix(w, end) {
			return strings.TrimSuffix(w, end)
		}
	}
	return w
}

// matchTerm is matchAt that also takes a plural and pieces of one word.
func (r *reader) matchTerm(i int, words []string) bool {
	if len(words) == 0 {
		return false
	}
	if r.matchAt(i, words) > 0 {
		return true
	}
	last := words[len(words)-1]
	plural := append(append([]string{}, words[:len(words)-1]...), last+"s")
	if r.matchAt(i, plural) > 0 {
		return true
	}
	if len(words) == 1 && strings.HasSuffix(last, "s") && len(last) > 4 && r.matchAt(i, []string{strings.TrimSuffix(last, "s")}) > 0 {
		return true
	}
	return len(words) > 1 && wordAt(r.tokens, i) == strings.Join(words, "")
}
