package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"ductwarden/controller"
)

// Bounds of the writer. Every commit writes a page or two of each table that it touches, whatever the number of rows,
// so that what a card wears hangs on how often rows are committed, not on how many there are.
const (
	CommitEvery = 30 * time.Second // rows wait this long at most before they are on the card
	CommitSoon  = 2 * time.Second  // those that a person will ask for: alarms, marks, checkpoints
	queueLength = 4096
	mostBatch   = 512
	mostKept    = 64          // marks that wait for a card which does not take them
	firstWait   = time.Second // back-off after a failed commit, doubled up to longestWait
	longestWait = time.Minute
)

// Step is one event with all that it caused.
type Step struct {
	Seq     uint64
	Event   controller.Event
	Effects []controller.Effect
	Answers []Answer
}

// Answer is one answer of a planner, as bytes that replay reads back.
type Answer struct {
	Collector        uint8
	Question, Answer []byte
}

// Checkpoint is the core's state, as its Key writes it, after a step; a replay may begin there.
type Checkpoint struct {
	Seq   uint64
	At    controller.Instant
	State []byte
}

// Change is a change in people's words: a machine's state, a gate's, a collector's phase, an alarm.
type Change struct {
	AtMS                int64
	What, Subject, Name string
	Was, Now            string
}

// entry is one thing on its way to the file.
type entry struct {
	wall   time.Time
	step   *Step
	change *Change
	state  *Checkpoint
	sums   []sum
	mark   *Mark
	read   []reading
	keep   time.Duration // forget what is older
	flush  chan error
}

type sum struct {
	hour, what, subject, name string
	add                       int64
}

type reading struct {
	what, subject string
	value         float64
}

// Journal writes one run. Its methods may be called from the control goroutine: they never wait.
type Journal struct {
	db    *sql.DB
	run   int64
	now   func() time.Time
	queue chan entry
	stop  chan struct{}
	done  chan struct{}
	once  sync.Once

	mu   sync.Mutex
	lost lost

	keep      time.Duration // of the writer: what is older is forgotten; 0: nothing
	forgotten time.Time     // when it last looked
	failing   atomic.Pointer[string]
	want      atomic.Bool // a checkpoint is wanted from the loop
	written   atomic.Uint64
	failHook  func() error // tests make commits fail here
}

// lost is what could not be written and is not yet told.
type lost struct {
	from, to uint64 // the first and last step; 0: none
	other    uint64 // changes, readings and the like
}

func (l *lost) step(seq uint64) {
	if l.from == 0 || seq < l.from {
		l.from = seq
	}
	l.to = max(l.to, seq)
}

func (l *lost) join(o lost) {
	if o.from != 0 {
		l.step(o.from)
		l.step(o.to)
	}
	l.other += o.other
}

// urgent reports whether an entry is not to wait with the others.
func (e *entry) urgent() bool {
	return e.mark != nil || e.state != nil || e.change != nil && e.change.What == "alarm"
}

// Open begins a run in the file at path, with the shop file's bytes and the program's version. now is the clock
// on the wall.
func Open(path, version string, shop []byte, now func() time.Time) (*Journal, error) {
	db, err := openFile(path, false)
	if err != nil {
		return nil, err
	}
	h := sha256.Sum256(shop)
	r, err := db.Exec("INSERT INTO runs (began_wall_ms, version, shop_sum, shop) VALUES (?, ?, ?, ?)", now().UnixMilli(), version, hex.EncodeToString(h[:]), append([]byte{}, shop...))
	if err != nil {
		db.Close()
		return nil, fmt.Errorf("journal %s: %w", path, err)
	}
	run, err := r.LastInsertId()
	if err != nil {
		db.Close()
		return nil, fmt.Errorf("journal %s: %w", path, err)
	}
	j := &Journal{db: db, run: run, now: now, queue: make(chan entry, queueLength), stop: make(chan struct{}), done: make(chan struct{})}
	go j.write()
	return j, nil
}

// Run is the number of this run.
func (j *Journal) Run() int64 { return j.run }

// Step records one step of the core. The slices are copied.
func (j *Journal) Step(s Step) {
	s.Effects = append([]controller.Effect(nil), s.Effects...)
	s.Answers = append([]Answer(nil), s.Answers...)
	j.put(entry{wall: j.now(), step: &s})
}

// Checkpoint records the core's state after a step, or before the first (Seq 0). Call it when WantsCheckpoint says so.
// The state is copied.
func (j *Journal) Checkpoint(c Checkpoint) {
	c.State = slices.Clone(c.State)
	if j.put(entry{wall: j.now(), state: &c}) {
		j.want.Store(false)
	}
}

// WantsCheckpoint reports whether the writer has a gap behind it that only a checkpoint can close.
func (j *Journal) WantsCheckpoint() bool { return j.want.Load() }

func (j *Journal) put(e entry) bool {
	select {
	case j.queue <- e:
		return true
	default:
		j.mu.Lock()
		defer j.mu.Unlock()
		if e.step != nil {
			j.lost.step(e.step.Seq)
		} else {
			j.lost.other++
		}
		return false
	}
}

// Failing is why rows cannot be written at present, "" when they can.
func (j *Journal) Failing() string {
	if p := j.failing.Load(); p != nil {
		return *p
	}
	return ""
}

// Written is how many entries are on the card.
func (j *Journal) Written() uint64 { return j.written.Load() }

// Flush waits until everything recorded before it is on the card. It is for orderly ends and for tests, never
// for the control goroutine.
func (j *Journal) Flush(ctx context.Context) error {
	c := make(chan error, 1)
	select {
	case j.queue <- entry{flush: c}:
	case <-j.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-c:
		return err
	case <-j.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Close writes what is waiting, gives up after a second, and closes the file.
func (j *Journal) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	err := j.Flush(ctx)
	j.once.Do(func() { close(j.stop) })
	<-j.done
	if e := j.db.Close(); err == nil {
		err = e
	}
	return err
}

// writer is the one goroutine that writes.
type writer struct {
	*Journal
	batch   []entry
	flushes []chan error
	wait    time.Duration // after a failed commit
	timer   *time.Timer
	due     time.Time // of the timer; zero: it is not set
}

func (j *Journal) write() {
	defer close(j.done)
	w := &writer{Journal: j, timer: time.NewTimer(time.Hour)}
	w.timer.Stop()
	for {
		select {
		case <-j.stop:
			w.commit()
			return
		case <-w.timer.C:
			w.commit()
		case e := <-j.queue:
			w.take(e)
		}
	}
}

// take adds one entry to the batch and sees to it that the batch is committed in time.
func (w *writer) take(e entry) {
	if e.flush != nil {
		w.flushes = append(w.flushes, e.flush)
		w.commit()
		return
	}
	if e.keep != 0 {
		w.keep = e.keep
		return
	}
	w.batch = append(w.batch, e)
	in := CommitEvery
	if e.urgent() {
		in = CommitSoon
	}
	w.wake(max(in, w.wait))
	if len(w.batch) < mostBatch {
		return
	}
	if w.wait == 0 {
		w.commit()
		return
	}
	w.drop() // the card does not take it: keep memory bounded, the gap will say so
}

func (w *writer) wake(in time.Duration) {
	if at := time.Now().Add(in); w.due.IsZero() || at.Before(w.due) {
		w.due = at
		w.timer.Reset(in)
	}
}

func (w *writer) commit() {
	w.timer.Stop()
	w.due = time.Time{}
	if len(w.batch) == 0 && len(w.flushes) == 0 {
		return
	}
	n := len(w.batch)
	err := w.Journal.commit(w.batch)
	if err != nil {
		text := err.Error()
		w.failing.Store(&text)
		w.drop()
		w.wait = min(max(firstWait, 2*w.wait), longestWait)
		w.wake(w.wait) // writing is tried again though nothing happens, so that the gap is told as soon as it can be
	} else {
		w.failing.Store(nil)
		w.wait = 0
		w.written.Add(uint64(n))
		w.clean()
		clear(w.batch)
		w.batch = w.batch[:0]
	}
	for _, f := range w.flushes {
		f <- err
	}
	w.flushes = w.flushes[:0]
}

// drop turns what could not be written into a gap. What people did is kept, and tried again.
func (w *writer) drop() {
	w.mu.Lock()
	defer w.mu.Unlock()
	kept := w.batch[:0]
	for _, e := range w.batch {
		switch {
		case e.step != nil:
			w.lost.step(e.step.Seq)
		case e.mark != nil && len(kept) < mostKept:
			kept = append(kept, e)
		default:
			w.lost.other++
		}
	}
	clear(w.batch[len(kept):])
	w.batch = kept
}

func (j *Journal) commit(batch []entry) (err error) {
	j.mu.Lock()
	gap := j.lost
	j.lost = lost{}
	j.mu.Unlock()
	defer func() {
		if err != nil {
			j.mu.Lock()
			j.lost.join(gap)
			j.mu.Unlock()
		}
	}()
	if j.failHook != nil {
		if err := j.failHook(); err != nil {
			return err
		}
	}
	tx, err := j.db.Begin()
	if err != nil {
		return err
	}
	for _, e := range batch {
		if err = j.insert(tx, e); err != nil {
			tx.Rollback()
			return err
		}
	}
	if gap != (lost{}) {
		why := fmt.Sprintf("the queue was full or the card did not take it; %d further rows of other kinds were lost", gap.other)
		if f := j.Failing(); f != "" {
			why = f + "; " + why
		}
		if _, err = tx.Exec("INSERT OR REPLACE INTO gaps VALUES (?, ?, ?, ?, ?)", j.run, gap.from, gap.to, j.now().UnixMilli(), why); err != nil {
			tx.Rollback()
			return err
		}
	}
	if err = tx.Commit(); err != nil {
		return err
	}
	if gap != (lost{}) {
		j.want.Store(true)
	}
	return nil
}

func (j *Journal) insert(tx *sql.Tx, e entry) error {
	var err error
	exec := func(q string, args ...any) {
		if err == nil {
			_, err = tx.Exec(q, args...)
		}
	}
	wall := e.wall.UnixMilli()
	if s := e.step; s != nil {
		ev := s.Event
		exec("INSERT INTO events VALUES (?,?,?,?,?,?,?,?)", j.run, s.Seq, int64(ev.At), ev.Kind, ev.By, ev.N, ev.V, ev.Ref)
		for i, f := range s.Effects {
			exec("INSERT INTO effects VALUES (?,?,?,?,?,?,?,?)", j.run, s.Seq, i, f.Kind, f.N, f.Why, f.Ref, f.V)
		}
		for i, a := range s.Answers {
			exec("INSERT INTO answers VALUES (?,?,?,?,?,?)", j.run, s.Seq, i, a.Collector, a.Question, a.Answer)
		}
	}
	if c := e.state; c != nil {
		exec("INSERT OR REPLACE INTO checkpoints (run, seq, at_ms, state) VALUES (?,?,?,?)", j.run, c.Seq, int64(c.At), c.State)
	}
	if c := e.change; c != nil {
		exec("INSERT INTO changes (run, at_ms, wall_ms, what, subject, name, was, is_now) VALUES (?,?,?,?,?,?,?,?)", j.run, c.AtMS, wall, c.What, c.Subject, c.Name, c.Was, c.Now)
	}
	for _, s := range e.sums {
		exec("INSERT INTO tallies VALUES (?,?,?,?,?) ON CONFLICT DO UPDATE SET value = value + excluded.value, name = excluded.name", s.hour, s.what, s.subject, s.name, s.add)
	}
	for _, r := range e.read {
		q := wall - wall%(15*60*1000)
		exec(`INSERT INTO readings VALUES (?,?,?,1,?,?,?) ON CONFLICT DO UPDATE SET mean = (mean*n + excluded.mean)/(n+1), n = n+1, least = min(least, excluded.least), most = max(most, excluded.most)`, q, r.what, r.subject, r.value, r.value, r.value)
	}
	if m := e.mark; m != nil {
		exec("INSERT INTO marks (wall_ms, what, subject, who, note, ran_s) VALUES (?,?,?,?,?, (SELECT coalesce(sum(value), 0) FROM tallies WHERE what = ? AND subject = ?))",
			wall, m.What, m.Subject, m.Who, m.Note, CollectorSeconds, m.Subject)
	}
	return err
}
