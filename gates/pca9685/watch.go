package pca9685

import "fmt"

// findAgain looks whether a silent board answers. One that was only out of reach has kept its registers and
// goes on pulsing as before.
func (b *Board) findAgain() error {
	if !b.up {
		return b.setUp()
	}
	kept, err := b.kept()
	if err != nil {
		return b.silent(err)
	}
	if !kept {
		b.lost()
		return nil
	}
	b.state, b.failures = Works, 0
	return nil
}

// inspect looks whether the board still is what it was set up to be. One wrong reading may be noise on the
// wire, so it is read again before the board is taken as reset.
func (b *Board) inspect() error {
	for range 2 {
		kept, err := b.kept()
		if err == nil && kept {
			kept, err = b.keptChannel(b.look)
		}
		if err != nil {
			if b.failures++; b.failures < 2 {
				return err
			}
			return b.silent(err)
		}
		b.failures = 0
		if kept {
			b.look = (b.look + 1) % Channels
			return nil
		}
	}
	b.lost()
	return nil
}

// lost takes the board as reset: everything on it is off or unknown, and it is set up again.
func (b *Board) lost() {
	b.resets++
	b.state, b.up = Untried, false
	for ch := range b.onChip {
		b.onChip[ch], b.wanted[ch] = doubtful, 0
	}
	_ = b.enable(false)
}

func (b *Board) silent(err error) error {
	b.state = Silent
	return fmt.Errorf("%v: %w", b, err)
}

// kept compares MODE1, MODE2, the canary and the prescaler with what was written.
func (b *Board) kept() (bool, error) {
	if err := b.read(regMode1, 5); err != nil {
		return false, err
	}
	if b.r[0] != autoIncrement || b.r[1] != totemPole || [3]byte(b.r[2:5]) != canary {
		return false, nil
	}
	if err := b.read(regPrescale, 1); err != nil {
		return false, err
	}
	return b.r[0] == b.prescale, nil
}

// keptChannel compares one channel's four registers. One whose last write failed is written again.
func (b *Board) keptChannel(ch int) (bool, error) {
	if b.onChip[ch] == doubtful {
		return true, b.put(ch, b.wanted[ch])
	}
	if err := b.read(byte(regLED0+4*ch), 4); err != nil {
		return false, err
	}
	return [4]byte(b.r[:4]) == registers(b.onChip[ch]), nil
}
