// Package memory is the memory check: it takes nearly all free memory, writes
// known values, reads them back in the order of a march test, and describes
// every wrong word exactly.
//
// A pass is the ten-operation march over eight fixed backgrounds and one that
// is drawn anew for each pass, then a march whose middle visits all lines in
// scattered order. The unit is a line of 64 bytes, which is what processors
// ask memory for. Each line is read, compared in full and rewritten at once.
//
// The area is divided into one part for each worker. A worker belongs to one
// operating-system thread; the caller pins it to a core:
//
//	c, err := memory.New(memory.Options{Workers: 2, Pin: pin})
//	err = c.Prepare(func(done, total int64) { ... })
//	go func() { c.Run(0, report) }() // one per worker, on its own thread
//	c.Stop()                         // from anywhere; Run returns within milliseconds
//	stats := c.Stats()
//	c.Close()                        // after every Run has returned
//
// The area is larger than all caches by far in normal use; then every read
// comes from memory. See docs/loads-memory.md for what the check finds.
package memory
