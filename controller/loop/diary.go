package loop

import (
	"slices"
	"sync"

	"ductwarden/controller"
)

// Record is one event with what it caused.
type Record struct {
	Seq     uint64 // rising by one; a gap means that records were lost on the way to the reader
	Event   controller.Event
	Effects []controller.Effect
	Mark    Purpose // BinEmptied, FilterCleaned or FilterReplaced of collector Event.N; else zero, which is no mark
}

// diaryLength is how many records are kept in memory for the page.
const diaryLength = 256

// diary keeps the latest records and hands each to its readers. The core's lane writes.
type diary struct {
	mu   sync.Mutex
	ring []Record
	seq  uint64
	feed Feed[Record]
}

// write takes a record in. Effects are copied.
func (d *diary) write(ev controller.Event, effects []controller.Effect) {
	d.add(Record{Event: ev, Effects: slices.Clone(effects)})
}

// marked takes in what a person says of the bin or the filter: it concerns the journal, the core sees time pass.
func (d *diary) marked(what Purpose, collector int, at controller.Instant) {
	d.add(Record{Event: controller.Event{At: at, Kind: controller.Wake, By: controller.FromButton, N: uint8(collector)}, Mark: what})
}

func (d *diary) add(r Record) {
	d.mu.Lock()
	d.seq++
	r.Seq = d.seq
	if len(d.ring) < diaryLength {
		d.ring = append(d.ring, r)
	} else {
		d.ring[(d.seq-1)%diaryLength] = r
	}
	d.mu.Unlock()
	d.feed.Send(r)
}

// latest returns up to n records, newest first.
func (d *diary) latest(n int) []Record {
	d.mu.Lock()
	defer d.mu.Unlock()
	n = min(n, len(d.ring))
	out := make([]Record, 0, max(n, 0))
	for i := range uint64(max(n, 0)) {
		out = append(out, d.ring[(d.seq-1-i)%diaryLength])
	}
	return out
}

// Recent returns up to n of the latest records, newest first. It may be called from any goroutine.
func (l *Loop) Recent(n int) []Record { return l.diary.latest(n) }

// Records subscribes to every record, with a queue of the given length that is never waited for.
func (l *Loop) Records(queue int) *Reader[Record] { return l.diary.feed.Read(queue) }
