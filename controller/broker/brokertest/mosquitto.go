// Package brokertest starts a real broker for tests.
package brokertest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Mosquitto is a real broker on a port of its own.
type Mosquitto struct {
	t    *testing.T
	Port int
	dir  string
	cmd  *exec.Cmd
	log  *os.File
}

// Start starts Debian's broker on loopback with a configuration: the usual one plus extra lines. In
// the extra lines %DIR% is its directory and %PORT% its port.
func Start(t *testing.T, extra ...string) *Mosquitto {
	t.Helper()
	if _, err := exec.LookPath("mosquitto"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("mosquitto is not installed; run: apt-get install mosquitto")
		}
		t.Skip("mosquitto is not installed, so nothing is tried against a real broker; run: apt-get install mosquitto")
	}
	m := &Mosquitto{t: t, Port: freePort(t), dir: t.TempDir()}
	who, err := user.Current()
	require.NoError(t, err)
	lines := []string{"user " + who.Username, "set_tcp_nodelay true", "log_type all", "persistence false"}
	text := strings.Join(append(lines, extra...), "\n") + "\n"
	if !strings.Contains(text, "listener ") {
		text += "listener %PORT% 127.0.0.1\n"
	}
	if !strings.Contains(text, "allow_anonymous") {
		text += "allow_anonymous true\n"
	}
	text = strings.NewReplacer("%DIR%", m.dir, "%PORT%", fmt.Sprint(m.Port)).Replace(text)
	require.NoError(t, os.WriteFile(filepath.Join(m.dir, "mosquitto.conf"), []byte(text), 0o600))
	t.Cleanup(func() {
		m.Kill()
		if t.Failed() {
			b, _ := os.ReadFile(filepath.Join(m.dir, "log"))
			t.Logf("the broker's last words:\n%s", b[max(0, len(b)-3000):])
		}
	})
	m.Start()
	return m
}

// freePort is one that nobody listens at.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// Start starts it, again after Kill.
func (m *Mosquitto) Start() {
	m.t.Helper()
	var err error
	m.log, err = os.OpenFile(filepath.Join(m.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(m.t, err)
	m.cmd = exec.Command("mosquitto", "-c", filepath.Join(m.dir, "mosquitto.conf"))
	m.cmd.Stdout, m.cmd.Stderr = m.log, m.log
	require.NoError(m.t, m.cmd.Start())
	require.Eventually(m.t, func() bool {
		c, err := net.Dial("tcp", m.Address())
		if err == nil {
			c.Close()
		}
		return err == nil
	}, 10*time.Second, 5*time.Millisecond, "the broker does not start")
}

// Address is host and port.
func (m *Mosquitto) Address() string { return fmt.Sprintf("127.0.0.1:%d", m.Port) }

// URL is its address for clients.
func (m *Mosquitto) URL() string { return "tcp://" + m.Address() }

// Signal sends it one, such as SIGSTOP.
func (m *Mosquitto) Signal(s syscall.Signal) { require.NoError(m.t, m.cmd.Process.Signal(s)) }

// Kill ends it without giving it time to say anything.
func (m *Mosquitto) Kill() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
	m.log.Close()
	m.cmd = nil
}

// End asks it to end, and waits.
func (m *Mosquitto) End() {
	m.t.Helper()
	m.Signal(syscall.SIGTERM)
	_ = m.cmd.Wait()
	m.log.Close()
	m.cmd = nil
}
