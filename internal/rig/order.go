package rig

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// inOrder sorts paths so that cpu10 comes after cpu9.
func inOrder(paths []string) []string {
	slices.SortFunc(paths, natural)
	return paths
}

// natural compares texts with the numbers in them as numbers.
func natural(a, b string) int {
	for a != "" && b != "" {
		na, ra := leading(a)
		nb, rb := leading(b)
		if na != "" && nb != "" {
			x, _ := strconv.Atoi(na)
			y, _ := strconv.Atoi(nb)
			if x != y {
				return x - y
			}
			a, b = ra, rb
			continue
		}
		if a[0] != b[0] {
			return int(a[0]) - int(b[0])
		}
		a, b = a[1:], b[1:]
	}
	return len(a) - len(b)
}

// leading splits the digits off the front of s.
func leading(s string) (digits, rest string) {
	end := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
	if end < 0 {
		end = len(s)
	}
	return s[:end], s[end:]
}

// cpuList reads a list of processors such as "0-3,8,10-11".
func cpuList(s string) []int {
	var out []int
	for part := range strings.SplitSeq(strings.TrimSpace(s), ",") {
		low, high, ranged := strings.Cut(part, "-")
		a, err := strconv.Atoi(low)
		if err != nil {
			continue
		}
		b := a
		if ranged {
			if b, err = strconv.Atoi(high); err != nil {
				continue
			}
		}
		for i := a; i <= b && i-a < 4096; i++ {
			out = append(out, i)
		}
	}
	return out
}
