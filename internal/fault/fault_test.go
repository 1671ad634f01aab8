package fault

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWrapKeepsTheFaultAndNamesTheWay(t *testing.T) {
	cause := errors.New("disk on fire")
	f := New(Conflict, "Another writer was first.", "Load again.").Because(cause)
	err := Wrap("assist.Answer", Wrap("store.Append", f))
	require.True(t, Is(err, Conflict))
	require.ErrorIs(t, err, cause)
	require.Contains(t, err.Error(), "assist.Answer: store.Append")
	require.Empty(t, f.Op, "the fault itself is not changed")
}

func TestAnyOtherErrorIsInternalAndTellsNothing(t *testing.T) {
	err := Wrap("x", errors.New("secret path"))
	var f *Error
	require.ErrorAs(t, err, &f)
	require.Equal(t, Internal, f.Code)
	require.NotContains(t, f.Msg+f.Next, "secret")
	require.NotEmpty(t, f.Next)
	require.NoError(t, Wrap("x", nil))
	require.Equal(t, Code(""), CodeOf(nil))
}
