package httpapi_test

import (
	"net/http"
	"sync"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/trial"
)

// patientLoad runs until it is stopped.
type patientLoad struct {
	once sync.Once
	done chan struct{}
}

func (l *patientLoad) Progress() assist.LoadProgress {
	return assist.LoadProgress{Elapsed: time.Second}
}
func (l *patientLoad) Stop()                 { l.once.Do(func() { close(l.done) }) }
func (l *patientLoad) Done() <-chan struct{} { return l.done }
func (l *patientLoad) Result() assist.LoadResult {
	return assist.LoadResult{Outcome: trial.Stopped, Elapsed: time.Second, Says: []string{"You stopped it."}}
}

// realPC is an invented PC.
var realPC = object{"core_count": 10, "stock_ratio": 47, "base_clock_mhz": 100, "temp_limit_c": 100, "memory_standard": "ddr4",
	"memory_modules": 2, "memory_gb": 32, "kit_rate_mts": 3600, "kit_cl": 18, "kit_trcd": 22, "kit_trp": 22, "kit_tras": 42, "kit_voltage_v": 1.35, "firmware_version": "1.0", "air_temp_c": 22}

// liveTrial runs a trial on a bench with a built-in load.
func (c *contract) liveTrial() {
	c.t.Helper()
	c.guide.Bench.StartLoad = func(assist.LoadSpec) (assist.LoadRun, error) {
		return &patientLoad{done: make(chan struct{})}, nil
	}
	session := c.call("POST", "/api/v1/sessions", object{"flow": "desktop", "title": "Real"}).Header.Get("Location")
	visits := map[string]int{}
	p := c.prompt(session)
	running := session + "/trials/running"
	require.Equal(c.t, http.StatusNotFound, c.call("GET", running, nil).Status)
	require.Equal(c.t, http.StatusConflict, c.call("POST", session+"/trials", nil).Status, "no trial is due")
	for n := 0; !p.Trial; n++ {
		require.Less(c.t, n, 60, "now at %s", p.State)
		answer := answerTo(p, visits)
		values := answer["values"].(object)
		for _, f := range p.Fields {
			if f.Required && values[f.Name] == nil {
				values[f.Name] = realPC[f.Name]
			}
		}
		p = into[result](c.t, http.StatusOK, c.call("POST", session+"/answers", answer)).Prompt
	}
	require.Equal(c.t, http.StatusAccepted, c.call("POST", session+"/trials", nil).Status)
	require.Equal(c.t, http.StatusConflict, c.call("POST", session+"/trials", nil).Status, "one at a time")
	got := into[struct {
		N      int    `json:"n"`
		Status string `json:"status"`
	}](c.t, http.StatusOK, c.call("GET", running, nil))
	require.Equal(c.t, 1, got.N)
	require.Equal(c.t, "running", got.Status)
	require.Equal(c.t, http.StatusAccepted, c.call("DELETE", running, nil).Status)
	require.Eventually(c.t, func() bool { return c.call("GET", running, nil).Status == http.StatusNotFound }, time.Minute, 5*time.Millisecond)
	found := into[struct{ Found *struct{ From string } }](c.t, http.StatusOK, c.call("GET", session+"/prompt", nil))
	require.Equal(c.t, "load", found.Found.From)
	require.Equal(c.t, http.StatusConflict, c.call("DELETE", running, nil).Status)
}
