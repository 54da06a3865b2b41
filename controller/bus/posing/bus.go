//go:build linux

package posing

import (
	"errors"
	"sync"
	"syscall"
	"time"
)

// Chip is a chip at register level, as the models of this module are. now is time since the bus was made.
type Chip interface {
	Tx(now time.Duration, w, r []byte) error
}

// Bus is the wires behind the file: chips at addresses, a clock, and trouble. It may be used without the
// file, too. Its methods may be called from any goroutine; a chip is only ever used under the bus's lock, for
// which Do is there.
type Bus struct {
	start time.Time

	mu        sync.Mutex
	chips     map[uint16]Chip
	taken     map[uint16]bool
	scripts   []*play
	release   chan struct{}
	clock     int // bits a second; 0: as fast as may be
	timeout   time.Duration
	smbusOnly bool
	transfers int
	bits      int64
}

// NewBus makes a bus without chips. Its time-out is the kernel's usual second until a program sets it.
func NewBus() *Bus {
	return &Bus{start: time.Now(), chips: map[uint16]Chip{}, taken: map[uint16]bool{}, release: make(chan struct{}), timeout: time.Second}
}

// Now is time since the bus was made.
func (b *Bus) Now() time.Duration { return time.Since(b.start) }

// Attach puts a chip at an address; nil takes it away.
func (b *Bus) Attach(addr uint16, c Chip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if c == nil {
		delete(b.chips, addr)
		return
	}
	b.chips[addr] = c
}

// TakenByKernel poses a kernel driver that has the address.
func (b *Bus) TakenByKernel(addr uint16) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.taken[addr] = true
}

// SetClock makes transfers take their time at so many bits a second; 0 for none.
func (b *Bus) SetClock(bitsPerSecond int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.clock = bitsPerSecond
}

// SMBusOnly poses an adapter that cannot make plain transfers.
func (b *Bus) SMBusOnly() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.smbusOnly = true
}

// Timeout is the adapter's time-out as the program has set it.
func (b *Bus) Timeout() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.timeout
}

// Transfers counts the transfers that reached the wires.
func (b *Bus) Transfers() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.transfers
}

// Do runs f while no transfer takes place: look at a chip, or let its supply sag.
func (b *Bus) Do(f func(now time.Duration)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f(b.Now())
}

// Tx is one transfer on the wires. w and r may be changed by it.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.transfers++
	p := b.trouble(addr)
	if p != nil {
		if errno, failed := b.suffer(p); failed {
			return errno
		}
	}
	b.take(len(w), len(r))
	c := b.chips[addr]
	if c == nil {
		return syscall.EREMOTEIO
	}
	if len(w) > 1 {
		flip(p, FlipWrite, w[1:])
	}
	if err := c.Tx(b.Now(), w, r); err != nil {
		var n syscall.Errno
		if errors.As(err, &n) {
			return n
		}
		return syscall.EREMOTEIO
	}
	flip(p, FlipRead, r)
	return nil
}

// take lets the time of the bits pass: for each direction an address, its bytes, and start or stop.
func (b *Bus) take(w, r int) {
	bits := 0
	if w > 0 || r == 0 {
		bits += 10 + 9*w
	}
	if r > 0 {
		bits += 10 + 9*r
	}
	b.bits += int64(bits) + 1
	if b.clock == 0 {
		return
	}
	// A sleep is too coarse for the 200 us of a short transfer.
	for end := time.Now().Add(time.Duration(bits+1) * time.Second / time.Duration(b.clock)); time.Now().Before(end); {
	}
}
