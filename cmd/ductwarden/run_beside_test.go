package main

import (
	"errors"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/publish"
)

// shopWithBroker is a shop of one gate that publishes to the broker at address.
func shopWithBroker(t *testing.T, address string) *config.Shop {
	t.Helper()
	file, err := config.Parse("shop.yaml", strings.NewReader("gates: [{name: saw, actuator: {hand: {}}}]\nmqtt: {broker: \"tcp://"+address+"\", site: mossfen}\n"))
	require.NoError(t, err)
	file.Starts = filepath.Join(t.TempDir(), "starts")
	return file
}

func TestThePageSaysWhatIsBesideTheControl(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	nobody := l.Addr().String()
	require.NoError(t, l.Close())
	network, err := openBroker(shopWithBroker(t, nobody), &publish.Totals{}, func() time.Duration { return 0 }, "boot", slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	said := beside(network, nil, nil)
	assert.Equal(t, []string{"Home automation is being connected."}, said())
	go network.service.Run(t.Context())
	require.Eventually(t, func() bool { return strings.Contains(strings.Join(said(), ""), "nobody listens there") }, 10*time.Second, 5*time.Millisecond)
	assert.Regexp(t, `^Home automation is not connected: .+\.$`, said()[0])

	assert.Equal(t, []string{"Home automation is off: no such site."}, beside(nil, errors.New("no such site"), nil)())
	assert.Empty(t, beside(nil, nil, nil)(), "a shop that names no broker and no journal misses nothing")
}
