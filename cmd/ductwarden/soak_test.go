package main

import (
	"bufio"
	"context"
	"flag"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/publish"
)

var soakTime = flag.Duration("soak", 0, "how long the shop is soaked; 0: 2 minutes with the race detector under CI, else 5 s")

// soakSpeed is many times real time, and leaves time for everything beside the loop.
const soakSpeed = 60

// TestSoak lets a shop live with every fault at high speed, with viewers, requests, a scraper and a journal beside it,
// each in goroutines of its own: neither goroutines nor heap may grow.
func TestSoak(t *testing.T) {
	length := *soakTime
	if length == 0 {
		length = 5 * time.Second
		if underRace && os.Getenv("CI") == "true" {
			length = 2 * time.Minute
		}
	}
	file := troubledShop(t)
	file.Journal.Path = filepath.Join(t.TempDir(), "journal.db")
	book := openJournal(file, slog.New(slog.DiscardHandler))
	require.NotNil(t, book)
	l := lifeOf(t, file, 5, book)
	f, err := newFigures(&publish.Totals{}, nil)
	require.NoError(t, err)
	l.file.Page = config.Page{Listen: "127.0.0.1:0", Viewing: true}
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	l.furnish(store, l.paper, book)
	page, err := servePage(l.daemon, pageParts{figures: f.Handler(), around: beside(nil, nil, book), rehearsal: true})
	require.NoError(t, err)

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	l.begins()
	began := l.clock.Now()
	l.clock.SetSpeed(soakSpeed)
	var all sync.WaitGroup
	all.Go(func() { assert.NoError(t, l.clock.Run(ctx)) })
	f.follow(ctx, l.loop)
	book.follow(ctx, l.loop)
	for range 4 {
		all.Go(func() { watchPage(ctx, page.URL+"live") })
	}
	all.Go(func() { ask(ctx, page.URL+"metrics") })
	all.Go(func() { ask(ctx, page.URL) })
	all.Go(func() { // somebody who asks for things, most of them refused
		for i := 0; ctx.Err() == nil; i++ {
			_, _ = l.loop.Do(ctx, loop.Request{Event: nuisance(i)})
			pause(ctx, 20*time.Millisecond)
		}
	})

	const looks = 16
	var heaps []uint64
	var routines []int
	for range looks {
		pause(ctx, length/looks)
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		heaps, routines = append(heaps, m.HeapAlloc), append(routines, runtime.NumGoroutine())
	}
	early, late := slices.Min(heaps[looks/4:looks/2]), slices.Min(heaps[3*looks/4:])
	few, many := slices.Max(routines[looks/4:looks/2]), slices.Min(routines[3*looks/4:])
	defer func() {
		cameTo(t, "soak of %v, %.0f times real time: heap %.2f MB in its second quarter, %.2f MB in its last; goroutines %d, then %d", length,
			(l.clock.Now()-began).Seconds()/length.Seconds(), float64(early)/1e6, float64(late)/1e6, few, many)
	}()
	assert.Less(t, float64(late), float64(early)*1.2+1e6, "the heap grows: %v", heaps)
	assert.LessOrEqual(t, many, few, "goroutines grow: %v", routines)

	cancel()
	require.NoError(t, page.Close())
	all.Wait()
	require.NoError(t, f.Close())
	require.NoError(t, book.Close())
	assert.Empty(t, book.journal.Failing())
}

// pause waits, or not, when the context ends.
func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// nuisance is one of many requests from the network and the page.
func nuisance(i int) controller.Event {
	kinds := []controller.EventKind{controller.HoldGate, controller.SelectGate, controller.CallAir, controller.Acknowledged, controller.FinishPressed}
	return controller.Event{Kind: kinds[i%len(kinds)], By: []controller.Source{controller.FromNetwork, controller.FromPage}[i%2], N: uint8(i % 11), V: int32(i % 3)}
}

// watchPage reads a stream of the page for a while, goes away, and comes back.
func watchPage(ctx context.Context, url string) {
	for ctx.Err() == nil {
		some, end := context.WithTimeout(ctx, 700*time.Millisecond)
		r, err := http.NewRequestWithContext(some, http.MethodGet, url, nil)
		if err == nil {
			if a, err := http.DefaultClient.Do(r); err == nil {
				_, _ = io.Copy(io.Discard, bufio.NewReader(a.Body))
				a.Body.Close()
			}
		}
		end()
	}
}

// ask fetches an address again and again.
func ask(ctx context.Context, url string) {
	for ctx.Err() == nil {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
		if err == nil {
			if a, err := http.DefaultClient.Do(r); err == nil {
				_, _ = io.Copy(io.Discard, a.Body)
				a.Body.Close()
			}
		}
		pause(ctx, 50*time.Millisecond)
	}
}
