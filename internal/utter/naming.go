package utter

import "strings"

// separates reports whether a token parts two statements.
func (r *reader) separates(i int) bool {
	t := r.tokens[i]
	if t.kind == mark {
		return strings.ContainsAny(t.text, ",;|\n()!?./")
	}
	return t.text == "but" || t.text == "then"
}

// plainAround reports whether every word of the statement around the number
// is understood or says nothing: "it took 5 min to boot" is not.
func (r *reader) plainAround(a *amount) bool {
	plain := func(i int) bool {
		t := r.tokens[i]
		return t.used || t.kind == num || fillerSet[t.text] || r.labels[t.text] || t.kind == mark && !r.separates(i) && t.text != "$" && t.text != "€"
	}
	for i := a.from - 1; i >= 0 && !r.separates(i); i-- {
		if !plain(i) {
			return false
		}
	}
	for i := a.to; i < len(r.tokens) && !r.separates(i); i++ {
		if !plain(i) {
			return false
		}
	}
	return true
}

// farthest is how many words may stand between a name and its number. Chosen:
// "hottest core went up to 86".
const farthest = 4

// nameBefore reports whether some name stands before the number at i.
func (r *reader) nameBefore(i int) bool {
	from, _, _ := r.findBefore(i)
	return from >= 0
}

// findBefore returns where the name before the number at i begins and ends,
// and what it may name.
func (r *reader) findBefore(i int) (from, to int, found []name) {
	for gap, end := 0, i; gap <= farthest && end > 0; gap, end = gap+1, end-1 {
		if from, found := r.nameEndingAt(end); from >= 0 {
			return from, end, found
		}
		if !r.linked(end - 1) {
			return -1, 0, nil
		}
	}
	return -1, 0, nil
}

// nameEndingAt returns the longest name that ends before token end.
func (r *reader) nameEndingAt(end int) (int, []name) {
	for _, n := range r.names {
		if n.after {
			continue
		}
		words := n.parts
		from := end - len(words)
		if len(words) == 0 || from < 0 || r.matchAt(from, words) == 0 || r.counted(from, end) {
			continue
		}
		var same []name
		for _, m := range r.names {
			if m.words == n.words && !m.after {
				same = append(same, m)
			}
		}
		return from, same
	}
	return -1, nil
}

// counted reports whether one of the tokens belongs to a number.
func (r *reader) counted(from, to int) bool {
	for k := from; k < to; k++ {
		if r.tokens[k].counted {
			return true
		}
	}
	return false
}

// nameBehind returns the name that begins at token i, with "for" and the like
// before it.
func (r *reader) nameBehind(i int) (from, to int, found []name) {
	for gap := 0; gap <= 2 && i < len(r.tokens); gap, i = gap+1, i+1 {
		for _, n := range r.names {
			words := n.parts
			if len(words) == 0 || r.matchAt(i, words) == 0 || r.counted(i, i+len(words)) {
				continue
			}
			var same []name
			for _, m := range r.names {
				if m.words == n.words && (m.after || behind[m.words] == "" || len(r.groupOf(name{groups: []string{behind[m.words]}})) == 0) {
					same = append(same, m)
				}
			}
			return i, i + len(words), same
		}
		if w := wordAt(r.tokens, i); w != "for" && w != "of" && w != "my" && w != "on" && w != "the" && w != "in" && w != "as" {
			return -1, 0, nil
		}
	}
	return -1, 0, nil
}

// groupOf is the first group of a name that this step asks for.
func (r *reader) groupOf(n name) []string {
	for _, g := range n.groups {
		var out []string
		for _, f := range strings.Fields(g) {
			if _, ok := r.fields[f]; ok {
				out = append(out, f)
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return nil
}

// nameAll finds the name of each number: the one before it, else the one
// behind it. A name serves one number only.
func (r *reader) nameAll(list []amount) {
	claimed := map[int]int{} // first token of a name: the number that has it
	for k := range list {
		a := &list[k]
		from, to, found := r.findBefore(a.from)
		if from < 0 || a.noun != "" || !r.agrees(a, found) {
			continue
		}
		claimed[from] = k
		r.give(a, from, to, found)
	}
	for k := range list {
		a := &list[k]
		if a.hasName || a.noun != "" {
			continue
		}
		from, to, found := r.nameBehind(a.to)
		if from < 0 || !r.agrees(a, found) {
			continue
		}
		if _, taken := claimed[from]; taken {
			continue // left without a name: it is asked back, unless its unit says all
		}
		r.give(a, from, to, found)
	}
}

// agrees reports whether the name can stand for the unit of the number: in
// "2 sticks 32 gb" the sticks do not name the gigabytes.
func (r *reader) agrees(a *amount, found []name) bool {
	if a.unit == "" {
		return true
	}
	asked := false
	for _, n := range found {
		for _, f := range r.groupOf(n) {
			asked = true
			if _, ok := r.parse(a, r.fields[f]); ok {
				return true
			}
		}
	}
	return !asked
}

func (r *reader) give(a *amount, from, to int, found []name) {
	a.hasName, a.name = true, r.piece(from, to)
	for _, n := range found {
		for _, f := range r.groupOf(n) {
			if !has(a.named, f) {
				a.named = append(a.named, f)
			}
		}
	}
	r.use(from, to-from)
	for i := to; i < a.from; i++ {
		r.tokens[i].used = true
	}
}
