package loop

import (
	"context"
	"fmt"
	"net"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
)

// realRig is the rig on the real front end, in the bubble of synctest. What the test turns it turns from the bus's
// lane, as the world would.
func realRig(t *testing.T, change ...func(*rig, *Parts)) (*rig, *Real) {
	t.Helper()
	r := &rig{t: t}
	clock := NewReal()
	p := r.parts(clock)
	p.Lines = nil // the lanes share nothing but mailboxes; the rig's lines are turned by another lane
	for i := range r.shop.Gates {
		r.shop.Gates[i].Motion.OpenSwitch, r.shop.Gates[i].Motion.ClosedSwitch = false, false
	}
	for _, c := range change {
		c(r, &p)
	}
	p.Chips[0].Poll = func(now time.Duration) (time.Duration, error) { return now + 10*time.Millisecond, nil }
	r.shop.Collectors[0].Proof = false
	l, err := New(p)
	require.NoError(t, err)
	r.Loop = l
	return r, clock
}

func TestRealLoopServesManyAndMissesNoScan(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, clock := realRig(t)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- clock.Run(ctx) }()
		time.Sleep(85*time.Second + 3*time.Millisecond)
		asked := time.Now()
		a, err := r.Do(ctx, Request{Event: controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole}})
		require.NoError(t, err)
		require.True(t, a.Accepted)
		assert.Zero(t, time.Since(asked), "a request wakes the core")

		var wg sync.WaitGroup
		var seen, refused atomic.Int64
		for i := range 50 { // viewers, five of them stalled
			w := r.Snapshots().Watch()
			if i < 5 {
				continue
			}
			wg.Go(func() {
				defer w.Close()
				for range 20 {
					<-w.Changed()
					if w.Latest() != nil {
						seen.Add(1)
					}
				}
			})
		}
		for i := range 20 {
			wg.Go(func() {
				for k := range 10 {
					got, err := r.Do(ctx, Request{Key: fmt.Sprint(i, k), Event: controller.Event{Kind: controller.HoldGate, By: controller.FromConsole, V: 1000}})
					if err != nil || !got.Accepted {
						refused.Add(1)
					}
					time.Sleep(7 * time.Millisecond)
				}
			})
		}
		stalled := r.Records(1) // a journal that does not read
		wg.Wait()
		time.Sleep(10 * time.Second)
		st := r.Stats()
		assert.Zero(t, st.Missed)
		assert.Zero(t, st.Latest)
		assert.EqualValues(t, 45*20, seen.Load())
		assert.Zero(t, refused.Load())
		assert.Positive(t, stalled.Lost())
		assert.GreaterOrEqual(t, st.Scans, int64(95*40))
		cancel()
		require.NoError(t, <-ended)
		assert.False(t, r.motor.on)
	})
}

func TestMissedScansAreCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, clock := realRig(t, func(_ *rig, p *Parts) {
			n := 0
			p.Chips = append(p.Chips, Chip{Lane: Core, Name: "slow", Poll: func(now time.Duration) (time.Duration, error) {
				if n++; n == 10 {
					time.Sleep(110 * time.Millisecond) // four scans cannot be made
				}
				return now + Scan, nil
			}})
		})
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		defer cancel()
		require.NoError(t, clock.Run(ctx))
		assert.EqualValues(t, 3, r.Stats().Missed)
		assert.GreaterOrEqual(t, r.Stats().Latest, 85*time.Millisecond)
	})
}

func TestWatchdogIsFedOnlyWhileEveryLaneLives(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var feeds atomic.Int64
		release := make(chan struct{})
		var hang atomic.Bool
		r, clock := realRig(t, func(r *rig, p *Parts) {
			p.Feed = func() { feeds.Add(1) }
			p.Scheduler.Add("bus", "hangs", TaskFunc(func(now time.Duration) time.Duration {
				if hang.Load() {
					<-release // a transfer that never returns
				}
				return now + 50*time.Millisecond
			}))
		})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- clock.Run(ctx) }()
		time.Sleep(time.Second)
		assert.Greater(t, feeds.Load(), int64(30))
		hang.Store(true)
		time.Sleep(2 * time.Second)
		before := feeds.Load()
		time.Sleep(2 * time.Second)
		assert.Equal(t, before, feeds.Load(), "a hanging lane starves the watchdog")
		assert.Equal(t, "late", r.Snapshots().Latest().Machines[0].Health)
		assert.Equal(t, "unknown", r.Snapshots().Latest().Machines[0].State)
		assert.Zero(t, r.Stats().Missed, "and delays no scan")
		cancel()
		assert.ErrorContains(t, <-ended, "bus did not stop")
		close(release)
		synctest.Wait()
	})
}

func TestMeterEdgeReachesTheGateWithinOneScan(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var running atomic.Bool
		var opened atomic.Int64
		r, clock := realRig(t, func(r *rig, p *Parts) {
			p.Chips[0].Meters = p.Chips[0].Meters[:2]
			p.Scheduler.Add("bus", "world", TaskFunc(func(now time.Duration) time.Duration {
				if running.Load() {
					r.meters[0].belief = current.Running
				}
				if len(r.slides[0].drives) > 0 && opened.Load() == 0 {
					opened.Store(int64(now))
				}
				return now + time.Millisecond
			}))
		})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- clock.Run(ctx) }()
		time.Sleep(85 * time.Second)
		_, err := r.Do(ctx, Request{Event: controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole}})
		require.NoError(t, err)
		time.Sleep(time.Second)
		at := clock.Now()
		running.Store(true)
		time.Sleep(time.Second)
		assert.Less(t, time.Duration(opened.Load())-at, Scan, "a mailbox wakes the core; it does not wait for the next scan")
		cancel()
		require.NoError(t, <-ended)
	})
}

func TestSupervisorSpeaksToSystemd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	sock, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer sock.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "400")
	t.Setenv("WATCHDOG_PID", "")
	s := NewSupervisor()
	s.Ready("standing by")
	read := func() string {
		b := make([]byte, 200)
		_ = sock.SetReadDeadline(time.Now().Add(10 * time.Second))
		n, err := sock.Read(b)
		require.NoError(t, err)
		return string(b[:n])
	}
	assert.Equal(t, "READY=1\nSTATUS=standing by", read())
	s.Feed()
	assert.Equal(t, "WATCHDOG=1", read())
	s.Stopping()
	assert.Equal(t, "STOPPING=1", read())

	t.Setenv("WATCHDOG_USEC", "")
	idle := NewSupervisor()
	idle.Feed()
	assert.Empty(t, idle.tokens, "no watchdog is asked for")
}
