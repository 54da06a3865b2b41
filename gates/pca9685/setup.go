package pca9685

import "fmt"

// setUp brings the board from any state to a known one, without a pulse: all outputs off first, then asleep,
// because the prescaler takes a value only there.
func (b *Board) setUp() error {
	if err := b.recognise(); err != nil {
		return err
	}
	for _, step := range [...][2]byte{
		{regAllOffH, fullOff},
		{regMode1, autoIncrement | sleep}, // ALLCALL and the sub-addresses off: the board answers to its own address only
		{regMode2, totemPole},
		{regPrescale, b.prescale},
		{regCanary, canary[0]}, {regCanary + 1, canary[1]}, {regCanary + 2, canary[2]},
		{regMode1, autoIncrement},
	} {
		if err := b.write(step[:]); err != nil {
			return b.silent(err)
		}
	}
	b.state = WakingUp
	return nil
}

// recognise reads what a board of this kind always has, before anything is written to a chip that may be
// another. MODE2 has three unused bits, addresses end in zero, the prescaler is never below 3.
func (b *Board) recognise() error {
	for _, c := range [...]struct {
		register byte
		looks    func(byte) bool
	}{
		{regMode2, func(v byte) bool { return v&0xE0 == 0 }},
		{regCanary, func(v byte) bool { return v&1 == 0 }},
		{regCanary + 1, func(v byte) bool { return v&1 == 0 }},
		{regCanary + 2, func(v byte) bool { return v&1 == 0 }},
		{regPrescale, func(v byte) bool { return v >= 3 }},
	} {
		if err := b.read(c.register, 1); err != nil {
			return b.silent(err)
		}
		if !c.looks(b.r[0]) {
			b.state = WrongChip
			return fmt.Errorf("what answers at 0x%02x on %s is no pca9685 (its register %02x reads %02x): check the address jumpers and the shop file", b.set.Addr, b.bus, c.register, b.r[0])
		}
	}
	return nil
}

// finish checks that the set-up has stuck.
func (b *Board) finish() error {
	kept, err := b.kept()
	if err != nil {
		return b.silent(err)
	}
	if !kept {
		b.state = WrongChip
		return fmt.Errorf("what answers at 0x%02x on %s does not keep its registers: a pca9685 without a steady supply, or another chip", b.set.Addr, b.bus)
	}
	for ch := range b.onChip {
		b.onChip[ch], b.wanted[ch] = 0, 0
	}
	b.state, b.failures, b.up = Works, 0, true
	return nil
}
