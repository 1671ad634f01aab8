package httpapi_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestConfirmReachesTheSession: a confirmation of what was not answered is
// refused by name, so it arrives; what it does is tested with the session.
func TestConfirmReachesTheSession(t *testing.T) {
	c := newContract(t)
	session := c.practice()
	p := c.prompt(session)
	body := object{"prompt": p.ID, "action": p.Actions[0].Name, "confirm": []string{"ratio"}}
	got := into[struct {
		Errors []struct{ Field string }
	}](t, http.StatusUnprocessableEntity, c.call("POST", session+"/answers", body))
	require.Len(t, got.Errors, 1)
	require.Equal(t, "ratio", got.Errors[0].Field)
	body["confirm"] = []string{}
	require.Equal(t, http.StatusOK, c.call("POST", session+"/answers", body).Status)
}
