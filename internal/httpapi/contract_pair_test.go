package httpapi_test

import (
	"net/http"

	"github.com/stretchr/testify/require"
)

// pair makes the calls about phones, each in a state where it has something
// to say.
func (c *contract) pair() {
	view := func(method, path string, body any) (v pairingView) {
		return into[pairingView](c.t, http.StatusOK, c.call(method, "/api/v1/pairing"+path, body))
	}
	require.Empty(c.t, view("GET", "", nil).Address)
	require.Equal(c.t, http.StatusForbidden, c.call("POST", "/api/v1/pairing/code", nil).Status)
	c.desk.Open("127.0.0.2:1")
	code := view("POST", "/code", nil).Code
	ticket, err := c.desk.Ask(code.Text, "Phone", "127.0.0.1")
	require.NoError(c.t, err)
	asking := view("GET", "", nil).Asking
	require.Len(c.t, asking, 1)
	view("POST", "/asking/"+asking[0].ID, object{"in": true})
	require.Equal(c.t, http.StatusNotFound, c.call("POST", "/api/v1/pairing/asking/"+asking[0].ID, object{"in": true}).Status)
	c.desk.Claim(ticket)
	devices := view("GET", "", nil).Devices
	require.Len(c.t, devices, 1)
	require.Empty(c.t, view("DELETE", "/devices/"+devices[0].ID, nil).Devices)
	require.Equal(c.t, http.StatusNotFound, c.call("DELETE", "/api/v1/pairing/devices/none", nil).Status)
	require.Empty(c.t, view("DELETE", "", nil).Address)
}
