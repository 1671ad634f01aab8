//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

// #include "kernel.h"
import "C"

import (
	"fmt"
	"sync/atomic"
	"unsafe"
)

// Sites of a Fault of the cache load.
const (
	FlipLine   = 1 // word Step, 0 to 7, of line Index
	FlipLetter = 2 // word Step, 0 to 6, of the next letter that has come
)

// Cache is the cache load on one core.
type Cache struct {
	c    *C.bk_cache
	room room
	mail *mail
}

// mail is the boxes of a ring of cores; the last core to close frees them.
type mail struct {
	room room
	left atomic.Int32
}

// WorkingSet returns the bytes that one core walks over, from the sizes of the
// second-level and the shared third-level cache and the number of cores.
// Chosen: more than the former, half of the latter in all.
func WorkingSet(level2, level3 int64, cores int) int {
	if level2 == 0 {
		level2 = 1 << 20
	}
	return int(max(2*level2, level3/2/int64(cores)))
}

// NewCaches makes the load for a ring of cores, each with its own lines of
// bytes in all, at least 64 KiB.
func NewCaches(cores, bytes int, seed uint64) []*Cache {
	box := C.BK_SLOTS * int(unsafe.Sizeof(C.bk_mail{}))
	m := &mail{room: newRoom(cores * box)}
	m.left.Store(int32(cores))
	ring := make([]*Cache, cores)
	for i := range ring {
		ring[i] = newCache(max(bytes, 64<<10), mix(seed+uint64(i)))
		ring[i].mail = m
		ring[i].c.in = (*C.bk_mail)(unsafe.Add(m.room.start, i*box))
		ring[i].c.out = (*C.bk_mail)(unsafe.Add(m.room.start, (i+1)%cores*box))
	}
	return ring
}

func newCache(bytes int, seed uint64) *Cache {
	line := int(unsafe.Sizeof(C.bk_node{}))
	head := (int(unsafe.Sizeof(C.bk_cache{}))/C.BK_LINE + 1) * C.BK_LINE
	count := bytes / line / C.BK_WALKERS * C.BK_WALKERS
	k := &Cache{room: newRoom(head + count*line)}
	k.c = (*C.bk_cache)(k.room.start)
	*k.c = C.bk_cache{seed: C.uint64_t(seed), count: C.uint64_t(count), nodes: (*C.bk_node)(unsafe.Add(k.room.start, head))}
	k.link(cycle(count, seed))
	return k
}

// cycle returns a random order of the numbers below n (Fisher and Yates).
func cycle(n int, seed uint64) []uint32 {
	order := make([]uint32, n)
	for i := range order {
		order[i] = uint32(i)
	}
	for i := n - 1; i > 0; i-- {
		j := mix(seed^uint64(i)<<32) % uint64(i+1)
		order[i], order[j] = order[j], order[i]
	}
	return order
}

// link writes the lines, each with the next of the cycle and its tag.
func (k *Cache) link(order []uint32) {
	nodes := unsafe.Slice(k.c.nodes, len(order))
	for i, at := range order {
		next := C.uint64_t(order[(i+1)%len(order)])
		n := &nodes[at]
		n.next, n.tag = next, C.bk_tag(k.c, C.uint64_t(at), next)
		C.bk_fill(n, n.tag, 0)
	}
	for w := range k.c.start {
		k.c.start[w] = C.uint64_t(order[w*len(order)/C.BK_WALKERS%len(order)])
	}
	k.c.lap = 0
}

// Steps returns the steps of one unit.
func (k *Cache) Steps() int { return int(k.c.count) }

// Run does laps, see Kernel. The unit is a lap over all lines. After a wrong
// one all lines are written anew.
func (k *Cache) Run(until int64, stop *Stop, most uint64) (uint64, *Wrong) {
	k.c.wrong = C.bk_wrong{}
	done := uint64(C.bk_cache_run(k.c, C.int64_t(until), stop.c(), C.uint64_t(most)))
	if k.c.wrong.count == 0 {
		return done, nil
	}
	at := uint64(k.c.wrong.place)
	w := &Wrong{Place: fmt.Sprintf("line %d", at), Expected: uint64(k.c.wrong.expected), Got: uint64(k.c.wrong.got), Count: int(k.c.wrong.count)}
	switch k.c.wrong.stage {
	case C.BK_TAG:
		w.Check = "tag of a cache line"
	case C.BK_LAP:
		w.Check = "age of a cache line"
	case C.BK_FILL:
		w.Check = "content of a cache line"
	case C.BK_END:
		w.Check, w.Place = "end of a walk", fmt.Sprintf("walker %d", at)
	default:
		w.Check, w.Place = "letter from another core", fmt.Sprintf("letter %d", at)
	}
	k.link(cycle(int(k.c.count), uint64(k.c.seed))) // the lap was left halfway
	return done, w
}

// Flip disturbs the next lap. For tests only.
func (k *Cache) Flip(f Fault) { k.c.fault = f.c() }

// Close frees the memory.
func (k *Cache) Close() {
	k.room.free()
	if k.mail.left.Add(-1) == 0 {
		k.mail.room.free()
	}
}
