package panel

import (
	"net"
	"sync"
)

// Bounds of connections. One address has room for every stream that the page gives and some requests beside, since a
// relay in front of it may bring everybody; all together stay few enough for a small board.
const (
	mostConnections = 256
	mostOfOne       = 96
)

// Limit caps the connections of a listener. Beyond what one address may have, a new one is closed at once; beyond what
// all may have, it waits for an old one to end.
func Limit(l net.Listener) net.Listener {
	return &limited{Listener: l, free: make(chan struct{}, mostConnections), by: map[string]int{}}
}

type limited struct {
	net.Listener
	free chan struct{}

	mu sync.Mutex
	by map[string]int // connections of each address
}

// Accept implements net.Listener.
func (l *limited) Accept() (net.Conn, error) {
	for {
		l.free <- struct{}{}
		c, err := l.Listener.Accept()
		if err != nil {
			<-l.free
			return nil, err
		}
		from, _, _ := net.SplitHostPort(c.RemoteAddr().String())
		if !l.enter(from) {
			c.Close()
			<-l.free
			continue
		}
		return &limitedConn{Conn: c, leave: sync.OnceFunc(func() { l.left(from); <-l.free })}, nil
	}
}

func (l *limited) enter(from string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.by[from] >= mostOfOne {
		return false
	}
	l.by[from]++
	return true
}

func (l *limited) left(from string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.by[from]--; l.by[from] == 0 {
		delete(l.by, from)
	}
}

type limitedConn struct {
	net.Conn
	leave func()
}

// Close implements net.Conn.
func (c *limitedConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
