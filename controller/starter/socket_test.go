package starter_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/starter"
)

// air is a broker and a socket behind it.
type air struct {
	sent []bool
	gone error
}

func (a *air) Send(on bool) error {
	if a.gone != nil {
		return a.gone
	}
	a.sent = append(a.sent, on)
	return nil
}

func socketOn(t *testing.T, a *air, s starter.SocketSettings) *starter.Socket {
	t.Helper()
	s.Name, s.Send = "socket@bench/set", a.Send
	made, err := starter.NewSocket(s)
	require.NoError(t, err)
	return made
}

// scans repeats a request as the loop does, from one time to another.
func scans(from, to time.Duration, ask func(time.Duration) error) (last error) {
	for now := from; now < to; now += 25 * time.Millisecond {
		if err := ask(now); err != nil {
			last = err
		}
	}
	return last
}

func TestSocketRepeatsWhatIsLost(t *testing.T) {
	a := &air{}
	s := socketOn(t, a, starter.SocketSettings{Lease: 15 * time.Second})
	require.NoError(t, scans(0, 20*time.Second, s.On))
	assert.Len(t, a.sent, 4, "three requests in a lease")
	a.sent = nil
	a.gone = errors.New("no session")
	require.ErrorIs(t, scans(20*time.Second, 22*time.Second, s.Off), a.gone)
	a.gone = nil
	require.NoError(t, scans(22*time.Second, 3*time.Hour, s.Off))
	assert.NotContains(t, a.sent, true)
	assert.InDelta(t, 60, len(a.sent), 2, "an off is repeated for ten minutes, then a person's own switch counts")
}

func TestSocketAnswers(t *testing.T) {
	a := &air{}
	s := socketOn(t, a, starter.SocketSettings{Answers: true})
	s.Report(true) // nothing was asked yet
	require.NoError(t, scans(0, time.Hour, s.Off))
	assert.Len(t, a.sent, 360, "it has not said that it is off")
	s.Report(false)
	a.sent = nil
	require.NoError(t, scans(time.Hour, 2*time.Hour, s.Off))
	assert.Empty(t, a.sent)
	s.Report(true) // a person pressed its button
	require.NoError(t, scans(2*time.Hour, 3*time.Hour, s.Off))
	assert.Empty(t, a.sent, "a person's hand outranks the automatic")
	require.NoError(t, s.On(3*time.Hour))
	require.NoError(t, s.Halt())
	assert.Equal(t, []bool{true, false}, a.sent)
	assert.Equal(t, "socket@bench/set", s.String())
}

func TestSocketLeavesBehind(t *testing.T) {
	a := &air{}
	assert.Contains(t, socketOn(t, a, starter.SocketSettings{Lease: time.Minute}).LeavesBehind(), "switches itself off 1m0s after")
	assert.Contains(t, socketOn(t, a, starter.SocketSettings{}).LeavesBehind(), "say so with lease")
	_, err := starter.NewSocket(starter.SocketSettings{Name: "socket", Lease: time.Second})
	assert.ErrorContains(t, err, "give 15s to 10m0s")
	now, err := socketOn(t, a, starter.SocketSettings{}).Poll(0)
	assert.Zero(t, now)
	assert.NoError(t, err)
}
