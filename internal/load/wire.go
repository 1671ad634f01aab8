package load

import (
	"encoding/json"
	"io"
	"sync"

	"belay/internal/fault"
)

// line is one line between the two processes. Which fields it has depends on
// its type.
type line struct {
	T string `json:"t"`

	Spec   *Spec     `json:"spec,omitempty"`   // run: to the child
	Fault  *disturb  `json:"fault,omitempty"`  // disturb: to the child, in tests
	Units  []uint64  `json:"units,omitempty"`  // beat, end: verified units per core
	Beats  []uint64  `json:"beats,omitempty"`  // beat: looks at the clock per core
	Score  float64   `json:"score,omitempty"`  // beat, end
	At     float64   `json:"at_s,omitempty"`   // beat, end: seconds since the start
	Wrong  int       `json:"wrong,omitempty"`  // beat, end: wrong units
	Done   int64     `json:"done,omitempty"`   // preparing: bytes
	Total  int64     `json:"total,omitempty"`  // preparing: bytes
	Error  *Error    `json:"error,omitempty"`  // error
	Memory *Memories `json:"memory,omitempty"` // beat, end: of a memory check

	Opened   uint64  `json:"opened,omitempty"`   // beat, end: windows of bursts
	Punctual uint64  `json:"punctual,omitempty"` // of these, opened on time
	Width    int     `json:"width,omitempty"`    // end: bits of the vectors
	Flops    float64 `json:"flops,omitempty"`    // end: operations of one unit of the score

	// crash, written by the thread that was hit
	What    string `json:"what,omitempty"`
	Code    int64  `json:"code,omitempty"`
	Sub     int64  `json:"sub,omitempty"`
	Core    int    `json:"core,omitempty"`
	Address string `json:"address,omitempty"`

	// refused: why the load cannot run
	FaultCode fault.Code `json:"fault_code,omitempty"`
	Msg       string     `json:"msg,omitempty"`
	Next      string     `json:"next,omitempty"`
}

// Types of lines.
const (
	tRun       = "run"
	tStop      = "stop"
	tDisturb   = "disturb"
	tPreparing = "preparing"
	tStart     = "start"
	tBeat      = "beat"
	tError     = "error"
	tCrash     = "crash"
	tRefused   = "refused"
	tEnd       = "end"
)

// Memories is what a memory check has covered.
type Memories struct {
	Size     int64   `json:"size"`     // bytes
	Coverage float64 `json:"coverage"` // share that went through one whole march, 0 to 1
	Passes   float64 `json:"passes"`   // through all backgrounds
	Moved    int64   `json:"moved"`    // bytes read and written
	Locked   bool    `json:"locked"`   // none of it can be swapped out
}

// writer writes lines, one at a time.
type writer struct {
	mutex sync.Mutex
	to    io.Writer
}

func (w *writer) write(l line) error {
	body, err := json.Marshal(l)
	if err != nil {
		return err
	}
	w.mutex.Lock()
	defer w.mutex.Unlock()
	_, err = w.to.Write(append(body, '\n'))
	return err
}
