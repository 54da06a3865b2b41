package loop

import (
	"sync"
	"sync/atomic"
)

// Hub hands the latest value to any number of watchers and never waits for one: a slow watcher misses values
// in between and sees the newest when it looks. The zero Hub is ready.
type Hub[T any] struct {
	latest   atomic.Pointer[T]
	mu       sync.Mutex
	watchers map[*Watcher[T]]struct{}
}

// Watcher is one subscriber of a Hub.
type Watcher[T any] struct {
	hub     *Hub[T]
	changed chan struct{}
}

// Publish makes v the latest value. v must not be changed afterwards.
func (h *Hub[T]) Publish(v *T) {
	h.latest.Store(v)
	h.mu.Lock()
	for w := range h.watchers {
		select {
		case w.changed <- struct{}{}:
		default: // it has not looked since the last value: it will see this one
		}
	}
	h.mu.Unlock()
}

// Latest is the newest value, nil before the first.
func (h *Hub[T]) Latest() *T { return h.latest.Load() }

// Watch subscribes. The watcher is told at once if there is a value already. Close it after use.
func (h *Hub[T]) Watch() *Watcher[T] {
	w := &Watcher[T]{hub: h, changed: make(chan struct{}, 1)}
	h.mu.Lock()
	if h.watchers == nil {
		h.watchers = make(map[*Watcher[T]]struct{})
	}
	h.watchers[w] = struct{}{}
	h.mu.Unlock()
	if h.Latest() != nil {
		select {
		case w.changed <- struct{}{}:
		default:
		}
	}
	return w
}

// Changed gets a token when there is a value that Latest has not been asked for since.
func (w *Watcher[T]) Changed() <-chan struct{} { return w.changed }

// Latest is the hub's newest value.
func (w *Watcher[T]) Latest() *T { return w.hub.Latest() }

// Close ends the subscription. It may be called twice.
func (w *Watcher[T]) Close() {
	w.hub.mu.Lock()
	delete(w.hub.watchers, w)
	w.hub.mu.Unlock()
}

// Feed hands every value to any number of readers through a queue each, and never waits for one: a reader
// whose queue is full is told how many it lost. The zero Feed is ready.
type Feed[T any] struct {
	mu      sync.Mutex
	readers map[*Reader[T]]struct{}
}

// Reader is one subscriber of a Feed.
type Reader[T any] struct {
	feed *Feed[T]
	c    chan T
	lost atomic.Int64
}

// Send offers v to every reader.
func (f *Feed[T]) Send(v T) {
	f.mu.Lock()
	for r := range f.readers {
		select {
		case r.c <- v:
		default:
			r.lost.Add(1)
		}
	}
	f.mu.Unlock()
}

// Read subscribes with a queue of the given length. Close the reader after use.
func (f *Feed[T]) Read(queue int) *Reader[T] {
	r := &Reader[T]{feed: f, c: make(chan T, queue)}
	f.mu.Lock()
	if f.readers == nil {
		f.readers = make(map[*Reader[T]]struct{})
	}
	f.readers[r] = struct{}{}
	f.mu.Unlock()
	return r
}

// C delivers the values in order. It is never closed.
func (r *Reader[T]) C() <-chan T { return r.c }

// Lost is how many values did not fit into the queue since it was last asked.
func (r *Reader[T]) Lost() int { return int(r.lost.Swap(0)) }

// Close ends the subscription. It may be called twice.
func (r *Reader[T]) Close() {
	r.feed.mu.Lock()
	delete(r.feed.readers, r)
	r.feed.mu.Unlock()
}
