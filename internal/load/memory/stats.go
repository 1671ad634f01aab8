package memory

// Stats is what a check has done so far.
type Stats struct {
	Given   int64   // bytes of the area
	Covered int64   // bytes that went through one whole march at least
	Locked  int64   // bytes that cannot be swapped out
	Moved   int64   // bytes read and written
	Passes  float64 // through all backgrounds, of the worker that is least far
	Wrong   int64   // wrong words, also those that were not described
	Width   int     // bits of the vectors in use; 0 is the narrowest form
}

// Coverage returns the share of the area that went through one whole march at
// least, 0 to 1.
func (s Stats) Coverage() float64 { return float64(s.Covered) / float64(s.Given) }

// Stats returns what has been done so far.
func (c *Check) Stats() Stats {
	s := Stats{Given: int64(len(c.area.bytes)), Locked: c.locked.Load()}
	for i, w := range c.workers {
		moved := w.moved.Load()
		s.Moved += moved * lineBytes
		s.Covered += w.covered.Load() * lineBytes
		s.Wrong += w.wrong.Load()
		s.Width = w.width
		passes := float64(moved) / float64(w.lines*c.accesses())
		if i == 0 || passes < s.Passes {
			s.Passes = passes
		}
	}
	return s
}

// accesses returns the lines moved per line in a pass.
func (c *Check) accesses() int64 {
	n := int64(0)
	for _, p := range c.phases {
		n += p.accesses()
	}
	return n
}

// firstMarch returns the phase that ends the first march of a pass.
func (c *Check) firstMarch() int {
	for i, p := range c.phases {
		if i > 0 && p.element == 0 {
			return i - 1
		}
	}
	return len(c.phases) - 1
}
