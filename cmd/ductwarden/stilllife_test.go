package main

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/panel/api"
)

// stillLife is a daemon that always shows the same.
type stillLife struct{ s controller.Snapshot }

func (l stillLife) Snapshot() *controller.Snapshot { return &l.s }
func (stillLife) Watch(context.Context) <-chan *controller.Snapshot {
	return nil
}

// Ask implements api.Desk: it takes everything.
func (stillLife) Ask(context.Context, api.Request) api.Answer {
	return api.Answer{Accepted: true}
}

// testSocket answers on a console socket, whose path it gives.
func testSocket(t *testing.T) string {
	t.Helper()
	socket := filepath.Join(t.TempDir(), "console.sock")
	l, err := api.Listen(socket)
	require.NoError(t, err)
	still := stillLife{controller.Snapshot{Mode: "standing_by", Alarms: []controller.AlarmSnapshot{
		{Text: "the bin of collector is full", ToDo: "empty it", Active: true}, {Text: "gone", ToDo: "acknowledge"},
	}}}
	srv := (&api.Server{Live: still, Desk: still}).Serve(l)
	t.Cleanup(func() { srv.Close() })
	return socket
}
