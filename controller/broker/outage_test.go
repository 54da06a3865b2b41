package broker_test

import (
	"context"
	"errors"
	"net"
	"runtime"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
)

// heap is what is in use after garbage has been collected.
func heap() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// One hour without a broker at fifty changes a second, in virtual time: memory does not grow between the two
// halves, no goroutine is added, and the tries keep their pace.
func TestAnHourWithoutABroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tries atomic.Int64
		c, _, began := config("tcp://broker:1883", func(c *broker.Config) {
			c.Link.Pace, c.Publish.Plain = broker.Pace{}, false
			c.Link.Dial = func(ctx context.Context, address string) (net.Conn, error) {
				tries.Add(1)
				return nil, &net.OpError{Op: "dial", Net: "tcp", Err: syscall.ECONNREFUSED}
			}
		})
		s, err := broker.NewService(c)
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		done := make(chan struct{})
		go func() {
			defer close(done)
			assert.NoError(t, s.Run(ctx))
		}()
		changes := 0
		offer := func(d time.Duration) {
			for end := time.Now().Add(d); time.Now().Before(end); changes++ {
				snap := state(time.Since(began).Milliseconds(), changes%2 == 0)
				if changes%7 == 0 {
					snap.Alarms = []controller.AlarmSnapshot{{Key: "no_air/planer", Text: "no air", Active: true, Priority: "high"}}
				}
				s.Offer(snap)
				time.Sleep(20 * time.Millisecond)
				synctest.Wait()
			}
		}
		offer(5 * time.Minute) // until everything has been told once and the ring is full
		begin, goroutines := heap(), runtime.NumGoroutine()
		offer(time.Hour/2 - 5*time.Minute)
		middle, firstTries := heap(), tries.Load()
		offer(time.Hour / 2)
		end := heap()
		st := s.Status()
		t.Logf("one hour's outage, %d changes: heap %d KiB after 5 minutes, %d KiB after half, %d KiB at the end; %d topics, %d events kept, %d dropped, %d tries, fault %s",
			changes, begin>>10, middle>>10, end>>10, st.Topics, st.Events, st.Dropped, tries.Load(), st.Fault)
		assert.InDelta(t, middle, end, 128<<10, "the heap has no slope between the two halves")
		assert.Equal(t, goroutines, runtime.NumGoroutine())
		assert.Equal(t, 256, st.Events)
		assert.Positive(t, st.Dropped)
		assert.Equal(t, broker.Unreachable, st.Fault)
		assert.InDelta(t, 400, firstTries, 100, "every 4.5 s on average")
		cancel()
		<-done
	})
}

// The end during a pause, while dialling and while the broker says nothing: at once, in virtual time.
func TestTheEndAtAnyMoment(t *testing.T) {
	for name, dial := range map[string]func(ctx context.Context, address string) (net.Conn, error){
		"pause": func(ctx context.Context, address string) (net.Conn, error) { return nil, errors.New("no route") },
		"dialling": func(ctx context.Context, address string) (net.Conn, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		},
		"silence": func(ctx context.Context, address string) (net.Conn, error) {
			mine, theirs := net.Pipe()
			go func() {
				buf := make([]byte, 1024)
				for {
					if _, err := theirs.Read(buf); err != nil {
						return
					}
				}
			}()
			return mine, nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c, _, _ := config("tcp://broker:1883", func(c *broker.Config) { c.Link.Dial = dial })
				s, err := broker.NewService(c)
				require.NoError(t, err)
				ctx, cancel := context.WithCancel(t.Context())
				done := make(chan struct{})
				go func() {
					defer close(done)
					assert.NoError(t, s.Run(ctx))
				}()
				time.Sleep(1800 * time.Millisecond)
				from := time.Now()
				cancel()
				<-done
				assert.Less(t, time.Since(from), time.Second)
				time.Sleep(10 * time.Second) // nothing is left running: the bubble would not end
			})
		})
	}
}
