package loop

import (
	"io"
	"time"
)

// Memory is a Medium that forgets: a rehearsal's file of starts.
type Memory struct{ b []byte }

// ReadAt implements io.ReaderAt.
func (m *Memory) ReadAt(p []byte, off int64) (int, error) {
	if off >= int64(len(m.b)) {
		return 0, io.EOF
	}
	n := copy(p, m.b[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// WriteAt implements io.WriterAt.
func (m *Memory) WriteAt(p []byte, off int64) (int, error) {
	if need := int(off) + len(p); need > len(m.b) {
		m.b = append(m.b, make([]byte, need-len(m.b))...)
	}
	return copy(m.b[off:], p), nil
}

// Sync implements Medium.
func (m *Memory) Sync() error { return nil }

// SchedulerClock is the BootClock of a rehearsal: one boot, the scheduler's time.
type SchedulerClock struct{ Scheduler Scheduler }

// Boot implements BootClock.
func (SchedulerClock) Boot() [16]byte { return [16]byte{1} }

// SinceBoot implements BootClock.
func (c SchedulerClock) SinceBoot() time.Duration { return c.Scheduler.Now() }
