package utter

import (
	"math"
	"strings"

	"belay/internal/session"
)

// timings takes four whole numbers joined by dashes or strokes as CL, tRCD,
// tRP and tRAS, where the step asks for all four.
func (r *reader) timings() {
	var four []string
	for _, f := range r.scene.Fields {
		if f.Unit == "clk" {
			four = append(four, f.Name)
		}
	}
	for i := 0; i < len(r.tokens); i++ {
		end := r.chainEnd(i)
		if end-i < 5 { // fewer than three numbers
			continue
		}
		count := (end - i + 1) / 2
		if len(four) != 4 || count != 4 || !r.fitTimings(i, four) {
			r.ask(Unclear, r.piece(i, end), nil, four...)
		} else {
			for k, f := range four {
				r.take(f, r.tokens[i+2*k].value, r.piece(i, end))
			}
		}
		for k := i - 1; k >= 0 && k >= i-2; k-- { // "timings" or "cl" before them
			if w := wordAt(r.tokens, k); w == "timings" || w == "cl" || w == "timing" {
				r.tokens[k].used = true
			}
		}
		r.use(i, end-i)
		i = end
	}
}

// chainEnd is the end of a chain of bare numbers that begins at i.
func (r *reader) chainEnd(i int) int {
	plain := func(k int) bool {
		return k < len(r.tokens) && r.tokens[k].kind == num && !r.tokens[k].bad && !r.tokens[k].twoWays && !r.tokens[k].used && !r.tokens[k].spelled
	}
	if !plain(i) || i > 0 && r.tokens[i].glued && r.tokens[i-1].kind == mark && strings.Contains("-/", r.tokens[i-1].text) {
		return i
	}
	end := i + 1
	for end+1 < len(r.tokens) && r.tokens[end].kind == mark && strings.Contains("-/", r.tokens[end].text) && r.tokens[end].glued &&
		r.tokens[end+1].glued && plain(end+1) && r.tokens[end].text == r.tokens[i+1].text {
		end += 2
	}
	return end
}

func (r *reader) fitTimings(i int, four []string) bool {
	for k, f := range four {
		if !fits(r.fields[f], r.tokens[i+2*k].value) {
			return false
		}
	}
	return true
}

// fits reports whether v is in the range of a number field, and whole where
// the field counts.
func fits(f session.Field, v float64) bool {
	if f.Kind != "number" || f.Min == nil || f.Max == nil || math.IsNaN(v) || v < *f.Min || v > *f.Max {
		return false
	}
	return !wholeUnits[f.Unit] || v == math.Trunc(v)
}

// wholeUnits are counted in whole numbers, as the check of answers has it.
var wholeUnits = map[string]bool{"×": true, "clk": true, "MT/s": true, "pieces": true}
