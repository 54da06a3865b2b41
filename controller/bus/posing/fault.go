//go:build linux

package posing

import (
	"syscall"
	"time"
)

// Trouble is one kind of bad transfer.
type Trouble uint8

// The kinds.
const (
	NoAnswer  Trouble = iota // the address is not acknowledged
	Lost                     // the transfer is lost to another master, as noise looks
	Garbled                  // the adapter reports an error on the wires
	TimeOut                  // the adapter gives up after its time-out
	Hang                     // the call returns only when Release is called, with a time-out
	FlipRead                 // one bit of what was read is wrong, and nobody notices
	FlipWrite                // one bit of what was written arrives wrong, and nobody notices
)

// Script is trouble to come.
type Script struct {
	Addr  uint16 // of the chip; 0 for any
	Kind  Trouble
	Skip  int // good transfers first
	Times int // transfers; 0 for all until Clear
	Bit   int // which bit a flip turns, counted from the first byte's lowest; in a write, of the bytes after the register
}

// play is a script on its way.
type play struct {
	Script
	skipped, played int
}

// Trouble adds a script. Where several fit a transfer, the first added goes first.
func (b *Bus) Trouble(s Script) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.scripts = append(b.scripts, &play{Script: s})
}

// Clear drops all scripts.
func (b *Bus) Clear() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.scripts = nil
}

// Release lets hanging calls return.
func (b *Bus) Release() {
	b.mu.Lock()
	defer b.mu.Unlock()
	close(b.release)
	b.release = make(chan struct{})
}

// trouble is what the next transfer to addr meets, or nil.
func (b *Bus) trouble(addr uint16) *play {
	for _, p := range b.scripts {
		if p.Addr != 0 && p.Addr != addr || p.Times > 0 && p.played >= p.Times {
			continue
		}
		if p.skipped < p.Skip {
			p.skipped++
			return nil
		}
		p.played++
		return p
	}
	return nil
}

// suffer makes the transfer fail in the way of the trouble; ok is false where the transfer takes place, with
// the bits of w and r to be turned by flip.
func (b *Bus) suffer(p *play) (errno syscall.Errno, failed bool) {
	switch p.Kind {
	case NoAnswer:
		return syscall.EREMOTEIO, true
	case Lost:
		return syscall.EAGAIN, true
	case Garbled:
		return syscall.EIO, true
	case TimeOut:
		time.Sleep(b.timeout)
		return syscall.ETIMEDOUT, true
	case Hang:
		wait := b.release
		b.mu.Unlock()
		<-wait
		b.mu.Lock()
		return syscall.ETIMEDOUT, true
	}
	return 0, false
}

func flip(p *play, kind Trouble, data []byte) {
	if p != nil && p.Kind == kind && len(data) > 0 {
		data[p.Bit/8%len(data)] ^= 1 << uint(p.Bit%8)
	}
}
