package bus

import (
	"errors"
	"fmt"
)

// ErrTaken says that a driver of the kernel has a chip's address: both would write to it.
var ErrTaken = errors.New("a driver of the kernel has this address")

// Claim tells whether a chip may be used at addr: no driver of the kernel has it (ErrTaken), and something answers
// there. what names the chip for the sentence, "pca9685".
func (b *I2C) Claim(addr uint16, what string) error {
	b.mu.Lock()
	taken := !b.closed && b.wire.taken(addr)
	b.mu.Unlock()
	if taken {
		return fmt.Errorf("%s 0x%02x: %w; remove the overlay or module that drives the %s and restart", b.name, addr, ErrTaken, what)
	}
	var one [1]byte
	err := b.Tx(addr, nil, one[:])
	if FaultOf(err) != NoAnswer {
		return err
	}
	there := b.Scan()
	if len(there) == 0 {
		return fmt.Errorf("%s 0x%02x: no %s answers, and no other chip on this bus does: check the supply and the plug of the boards (%w)", b.name, addr, what, err)
	}
	return fmt.Errorf("%s 0x%02x: no %s answers; chips answer at %s: check the address jumpers and the address in the shop file (%w)", b.name, addr, what, addresses(there), err)
}

// Scan lists the addresses that acknowledge a read of one byte, of those open to chips (UM10204 3.1.12:
// 0x08 to 0x77). It reads only.
func (b *I2C) Scan() []uint16 {
	b.mu.Lock()
	defer b.mu.Unlock()
	var found []uint16
	var one [1]byte
	for a := uint16(0x08); a <= 0x77 && !b.closed; a++ {
		err := b.wire.transfer(a, nil, one[:])
		if err == nil {
			found = append(found, a)
		}
		if FaultOf(err) == Stuck {
			break
		}
	}
	return found
}

func addresses(list []uint16) string {
	s := ""
	for i, a := range list {
		if i > 0 {
			s += ", "
		}
		s += fmt.Sprintf("0x%02x", a)
	}
	return s
}
