package loop

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ticking polls every period and writes its name down.
type ticking struct {
	name   string
	period time.Duration
	log    *[]string
	stops  int
}

func (k *ticking) Poll(now time.Duration) time.Duration {
	*k.log = append(*k.log, fmt.Sprintf("%v %s", now, k.name))
	return now + k.period
}

func (k *ticking) Stop(now time.Duration) time.Duration {
	k.stops++
	*k.log = append(*k.log, "stop "+k.name)
	if k.stops < 3 {
		return now + 100*time.Millisecond
	}
	return 0
}

func TestVirtualOrder(t *testing.T) {
	var log []string
	v := NewVirtual(AsFastAsMayBe)
	v.Add("core", "a", &ticking{name: "a", period: 2 * time.Millisecond, log: &log})
	v.Add("bus", "b", &ticking{name: "b", period: time.Millisecond, log: &log})
	v.Add("core", "c", &ticking{name: "c", period: 2 * time.Millisecond, log: &log})
	v.Advance(t.Context(), 3*time.Millisecond)
	assert.Equal(t, []string{"1ms a", "1ms c", "1ms b", "2ms b", "3ms a", "3ms c", "3ms b"}, log)
	assert.Equal(t, 3*time.Millisecond, v.Now())
}

func TestVirtualWakeComesAtOnceAndOnce(t *testing.T) {
	v := NewVirtual(AsFastAsMayBe)
	var got []time.Duration
	sleeper := v.Add("core", "sleeper", TaskFunc(func(now time.Duration) time.Duration {
		got = append(got, now)
		return 0
	}))
	v.Add("bus", "waker", TaskFunc(func(now time.Duration) time.Duration {
		if now >= 5*time.Millisecond {
			sleeper.Wake()
			sleeper.Wake()
			return 0
		}
		return 5 * time.Millisecond
	}))
	v.Advance(t.Context(), time.Second)
	assert.Equal(t, []time.Duration{time.Millisecond, 5 * time.Millisecond}, got)
	at, ok := sleeper.Polled()
	assert.True(t, ok)
	assert.Equal(t, 5*time.Millisecond, at)
}

func TestVirtualClockCannotBeHeldStill(t *testing.T) {
	v := NewVirtual(AsFastAsMayBe)
	n := 0
	v.Add("core", "eager", TaskFunc(func(now time.Duration) time.Duration { n++; return now }))
	v.Add("core", "late", TaskFunc(func(now time.Duration) time.Duration { return now - time.Hour + 59*time.Minute }))
	v.Advance(t.Context(), 2*time.Millisecond)
	assert.Equal(t, 101, n, "one poll each 10 us")
}

func TestVirtualIsTheSameEachTime(t *testing.T) {
	run := func() string {
		var log []string
		v := NewVirtual(AsFastAsMayBe)
		for i := range 7 {
			v.Add(Lane(fmt.Sprint(i%3)), "t", &ticking{name: fmt.Sprint(i), period: time.Duration(i+1) * 300 * time.Microsecond, log: &log})
		}
		v.Advance(t.Context(), 50*time.Millisecond)
		return strings.Join(log, "\n")
	}
	first := run()
	for range 5 {
		assert.Equal(t, first, run())
	}
}

func TestVirtualPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log []string
		v := NewVirtual(60)
		k := &ticking{name: "k", period: time.Second, log: &log}
		v.Add("core", "k", k)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second+5*time.Millisecond)
		defer cancel()
		require.NoError(t, v.Run(ctx))
		assert.Equal(t, 3, k.stops, "as often as it asks for")
		assert.Len(t, log, 64, "a minute in a second: 61 polls and the stops")
	})
}

func TestVirtualWakeFromOutsideWhilePaced(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := NewVirtual(10)
		var got []time.Duration
		h := v.Add("core", "outside", TaskFunc(func(now time.Duration) time.Duration { got = append(got, now); return 0 }))
		v.Add("core", "hourly", TaskFunc(func(now time.Duration) time.Duration { return now + time.Hour }))
		go func() {
			time.Sleep(2 * time.Second)
			h.Wake()
		}()
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		require.NoError(t, v.Run(ctx))
		require.Len(t, got, 2)
		assert.Equal(t, 20*time.Second+time.Millisecond, got[1], "the clock stands where the pace has brought it")
	})
}

func TestVirtualWithNothingDueWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := NewVirtual(AsFastAsMayBe)
		n := 0
		h := v.Add("core", "once", TaskFunc(func(time.Duration) time.Duration { n++; return 0 }))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- v.Run(ctx) }()
		synctest.Wait()
		h.Wake()
		synctest.Wait()
		cancel()
		require.NoError(t, <-done)
		assert.Equal(t, 2, n)
	})
}

func TestRealLanesDoNotWaitForEachOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewReal()
		var core atomic.Int64
		r.Add("core", "scan", TaskFunc(func(now time.Duration) time.Duration {
			core.Add(1)
			return now + 25*time.Millisecond
		}))
		r.Add("bus", "slow", TaskFunc(func(now time.Duration) time.Duration {
			time.Sleep(200 * time.Millisecond) // a transfer that hangs for a while
			return now + time.Millisecond
		}))
		ctx, cancel := context.WithTimeout(t.Context(), time.Second+time.Millisecond)
		defer cancel()
		require.NoError(t, r.Run(ctx))
		assert.EqualValues(t, 41, core.Load())
	})
}

func TestRealWake(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewReal()
		var polls atomic.Int64
		h := r.Add("core", "sleeper", TaskFunc(func(time.Duration) time.Duration { polls.Add(1); return 0 }))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- r.Run(ctx) }()
		synctest.Wait()
		for want := int64(2); want < 5; want++ {
			h.Wake()
			synctest.Wait()
			assert.Equal(t, want, polls.Load())
		}
		cancel()
		require.NoError(t, <-done)
	})
}

// late is a task that stops in order and takes its time: a stop button that is pressed for five seconds.
type late struct{ until, left time.Duration }

func (l *late) Poll(time.Duration) time.Duration { return 0 }
func (l *late) Stop(now time.Duration) time.Duration {
	if l.until == 0 {
		l.until = now + 5*time.Second
	}
	if now >= l.until {
		l.left = now
		return 0
	}
	return l.until
}

func TestRealWaitsForWhatStopsInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, l := NewReal(), &late{}
		r.Add("core", "button", l)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		require.NoError(t, r.Run(ctx))
		assert.Equal(t, 6*time.Second, l.left, "the button was let go before the end")
	})
}

func TestRealEndsThoughALaneHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewReal()
		release := make(chan struct{})
		stopped := false
		r.Add("core", "scan", &stopping{stop: func() { stopped = true }})
		r.Add("bus main", "stuck", TaskFunc(func(time.Duration) time.Duration { <-release; return 0 }))
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		began := time.Now()
		err := r.Run(ctx)
		require.ErrorContains(t, err, "bus main did not stop")
		assert.Equal(t, time.Second+stopGrace, time.Since(began))
		assert.True(t, stopped, "the lanes that answer were stopped in order")
		close(release)
		synctest.Wait()
	})
}

// stopping is a task that notes its stop.
type stopping struct{ stop func() }

func (s *stopping) Poll(now time.Duration) time.Duration { return now + time.Second }
func (s *stopping) Stop(time.Duration) time.Duration     { s.stop(); return 0 }

func TestHub(t *testing.T) {
	var h Hub[int]
	assert.Nil(t, h.Latest())
	one, two := 1, 2
	slow := h.Watch()
	h.Publish(&one)
	h.Publish(&two)
	assert.Len(t, slow.Changed(), 1, "one token, however many values")
	<-slow.Changed()
	assert.Equal(t, 2, *slow.Latest())
	late := h.Watch()
	assert.Len(t, late.Changed(), 1, "told at once of the value that is there")
	late.Close()
	late.Close()
	<-late.Changed()
	h.Publish(&one)
	assert.Empty(t, late.Changed())
	assert.Len(t, slow.Changed(), 1)
}

func TestFeedTellsWhatWasLost(t *testing.T) {
	var f Feed[int]
	quick, slow := f.Read(10), f.Read(2)
	for i := range 5 {
		f.Send(i)
	}
	assert.Len(t, quick.C(), 5)
	assert.Zero(t, quick.Lost())
	assert.Len(t, slow.C(), 2)
	assert.Equal(t, 3, slow.Lost())
	assert.Zero(t, slow.Lost(), "told once")
	assert.Equal(t, 0, <-slow.C(), "in order")
	slow.Close()
	f.Send(9)
	assert.Len(t, slow.C(), 1)
}
