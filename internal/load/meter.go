package load

import (
	"slices"
	"sync"
	"time"
)

// warm is how long a core warms up before its score counts, and slice how
// much processor time one sample of the score spans. Chosen: clocks and caches
// have settled after a second; systems count processor time in steps of up to
// 16 ms, a thirtieth of a slice.
const (
	warm  = time.Second
	slice = 500 * time.Millisecond
)

// meter takes the rate of one core: the median over slices, per second of the
// core's own processor time, so that a disturbance or another program moves it
// little. One goroutine adds, others may read.
type meter struct {
	units, cpu float64 // of the open slice, cpu in nanoseconds
	warmed     float64
	mutex      sync.Mutex
	rates      []float64
}

// add counts units done in this much processor time.
func (m *meter) add(units float64, cpu int64) {
	if m.warmed < float64(warm) {
		m.warmed += float64(cpu)
		return
	}
	m.units += units
	m.cpu += float64(cpu)
	if m.cpu < float64(slice) {
		return
	}
	m.mutex.Lock()
	m.rates = append(m.rates, m.units/m.cpu*1e9)
	m.mutex.Unlock()
	m.units, m.cpu = 0, 0
}

// rate returns the median of the slices, 0 without any.
func (m *meter) rate() float64 {
	m.mutex.Lock()
	rates := slices.Clone(m.rates)
	m.mutex.Unlock()
	if len(rates) == 0 {
		return 0
	}
	slices.Sort(rates)
	n := len(rates)
	return (rates[n/2] + rates[(n-1)/2]) / 2
}
