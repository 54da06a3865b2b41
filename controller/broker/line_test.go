package broker_test

import (
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// line is the network between a program and its broker, which a test can cut.
type line struct {
	l     net.Listener
	to    string
	mu    sync.Mutex
	conns map[net.Conn]bool
	made  int
}

func newLine(t *testing.T, to string) *line {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	n := &line{l: l, to: to, conns: map[net.Conn]bool{}}
	t.Cleanup(func() { l.Close(); n.cut() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go n.carry(c)
		}
	}()
	return n
}

func (n *line) url() string { return "tcp://" + n.l.Addr().String() }

func (n *line) carry(c net.Conn) {
	b, err := net.Dial("tcp", n.to)
	if err != nil {
		c.Close()
		return
	}
	n.mu.Lock()
	n.conns[c], n.conns[b] = true, true
	n.made++
	n.mu.Unlock()
	var wg sync.WaitGroup
	for _, way := range [][2]net.Conn{{c, b}, {b, c}} {
		wg.Go(func() {
			io.Copy(way[0], way[1])
			way[0].Close()
			way[1].Close()
		})
	}
	wg.Wait()
	n.mu.Lock()
	delete(n.conns, c)
	delete(n.conns, b)
	n.mu.Unlock()
}

func (n *line) cut() {
	n.mu.Lock()
	defer n.mu.Unlock()
	for c := range n.conns {
		c.Close()
	}
}
