//go:build unix

package broker_test

import (
	"context"
	"fmt"
	"net"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
	"ductwarden/controller/publish"
)

// A frozen broker: whoever offers snapshots never waits, the freeze is noticed, the end takes less than a
// second, and when the broker thaws it says offline by the will.
func TestBrokerFrozen(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), func(c *broker.Config) {
		c.Link.Pace.KeepAlive, c.Link.Pace.Ack, c.Link.Pace.Write = 2*time.Second, time.Second, time.Second
	})
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	m.Signal(syscall.SIGSTOP)
	missed, scans, worst := offerFor(r, 3*time.Second)
	require.Eventually(t, func() bool { f := r.Status().Fault; return f == broker.Silent || f == broker.Lost }, 30*time.Second, 5*time.Millisecond, "%+v", r.Status())
	took := r.stop()
	t.Logf("frozen broker: %d scans, %d missed (goal 0), longest offer %s; the end took %s (goal 1 s)", scans, missed, worst, took.Round(time.Millisecond))
	assert.Less(t, worst, time.Second)
	assert.Less(t, took, 10*time.Second)
	m.Signal(syscall.SIGCONT)
	require.Eventually(t, func() bool {
		return retainedSet(t, m.URL(), site+"availability")[site+"availability"] == "offline"
	}, 30*time.Second, 50*time.Millisecond)
}

// offerFor offers a changed snapshot at every scan of 25 ms, as the control loop does, and counts the scans in
// which offering took longer than the scan itself.
func offerFor(r *running, d time.Duration) (missed, scans int, worst time.Duration) {
	tick := time.NewTicker(25 * time.Millisecond)
	defer tick.Stop()
	for from := time.Now(); time.Since(from) < d; scans++ {
		<-tick.C
		s := state(r.now(), scans%2 == 0)
		began := time.Now()
		r.Offer(s)
		took := time.Since(began)
		worst = max(worst, took)
		if took > 25*time.Millisecond {
			missed++
		}
	}
	return missed, scans, worst
}

func TestTheEndWithABrokerThatFreezesInThatMoment(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	m.Signal(syscall.SIGSTOP)
	took := r.stop()
	t.Logf("frozen in the moment of the end: %s (goal 1 s)", took.Round(time.Millisecond))
	assert.Less(t, took, 10*time.Second)
}

// hole is a broker that says hello, grants the subscriptions and never reads again.
func hole(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			_ = c.(*net.TCPConn).SetReadBuffer(4096)
			buf := make([]byte, 4096)
			c.Read(buf)
			c.Write([]byte{0x20, 2, 0, 0})
			c.Read(buf)
			c.Write([]byte{0x90, 7, buf[3], buf[4], 0, 0, 0, 0, 0}) // five filters, whose length takes two bytes
		}
	}()
	return "tcp://" + l.Addr().String()
}

// narrow dials with a small buffer, which fills soon.
func narrow(ctx context.Context, address string) (net.Conn, error) {
	c, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
	if err == nil {
		err = c.(*net.TCPConn).SetWriteBuffer(64 << 10)
	}
	return c, err
}

// fillUp offers so much that writes hang.
func fillUp(t *testing.T, r *running) {
	for i := range 64 { // more than the buffers of both ends hold
		r.Link().Put(publish.Message{Topic: fmt.Sprint("big/", i), Payload: make([]byte, 512<<10), Retained: true, QoS: 1})
	}
	same, last := 0, 0
	require.Eventually(t, func() bool { // no further message gets out: the write hangs
		if now := r.Status().Flying; now > 0 && now < 32 && now == last {
			same++
		} else {
			same, last = 0, now
		}
		return same > 20
	}, 30*time.Second, 5*time.Millisecond, "%+v", r.Status())
}

func TestTheEndWithAFullLine(t *testing.T) {
	t.Parallel()
	r := run(t, hole(t), func(c *broker.Config) { c.Link.Pace, c.Link.Dial = broker.Pace{}, narrow })
	fillUp(t, r)
	took := r.stop()
	t.Logf("end with a full line: %s (goal 1 s)", took.Round(time.Millisecond))
	assert.Less(t, took, 10*time.Second)
}

// A line that takes nothing any more is noticed by the write that hangs, long before a ping would.
func TestAFullLineIsNoticed(t *testing.T) {
	t.Parallel()
	r := run(t, hole(t), func(c *broker.Config) {
		c.Link.Dial = narrow
		c.Link.Pace = broker.Pace{Write: 2 * time.Second, Ack: time.Minute, KeepAlive: time.Minute, First: time.Minute, Most: time.Minute}
	})
	fillUp(t, r)
	from := time.Now()
	require.Eventually(t, func() bool { return r.Status().Fault != broker.NoFault }, 10*time.Second, 5*time.Millisecond)
	t.Logf("full line noticed after %s with a limit of 2 s: %s", time.Since(from).Round(time.Millisecond), r.Status().Why)
	missed, _, worst := offerFor(r, 500*time.Millisecond)
	t.Logf("%d scans missed (goal 0), longest offer %s", missed, worst)
	assert.Less(t, worst, time.Second)
}
