package flow

import (
	"fmt"
	"slices"
	"strings"
)

// meant returns "Did you mean X?" for the known name nearest to name, or the
// list of known names if none is near and the list is short.
func meant(name string, known []string) string {
	best, least := "", 1+max(1, len(name)/3)
	for _, k := range slices.Sorted(slices.Values(known)) {
		if d := distance(name, k); d < least {
			best, least = k, d
		}
	}
	switch {
	case best != "":
		return fmt.Sprintf("Did you mean %q?", best)
	case len(known) == 0:
		return "There is none yet: add it."
	case len(known) <= 24:
		return "Known here: " + strings.Join(slices.Sorted(slices.Values(known)), ", ") + "."
	}
	return "Correct the name, or add what it stands for."
}

// distance is the number of single letters to insert, drop or replace to turn
// a into b. Source: Levenshtein 1966.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		last := row[0]
		row[0] = i + 1
		for j := range len(b) {
			swap := last
			if a[i] != b[j] {
				swap++
			}
			last = row[j+1]
			row[j+1] = min(swap, row[j]+1, last+1)
		}
	}
	return row[len(b)]
}
