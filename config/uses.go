package config

import "fmt"

// uses remembers what is connected where, so that no two things share a place.
type uses struct {
	lines  map[string]value
	inputs map[string]inputUse
	pulses map[string]value
}

type inputUse struct {
	at     value
	shared bool
	user   string
}

// line notes a line and refuses a second use, an output where the board drives or pulls high at boot, and lines
// that a bus has.
//
// Lines 0 to 8 are pulled up until a program sets them, 9 to 27 down (BCM2835 ARM Peripherals p. 102; the same
// on later boards, from memory); 0 to 3 belong to I2C, 7 to 11 to SPI, and the firmware may drive them.
func (u *uses) line(v value, s *Shop, l Line, d direction) {
	if u.lines == nil {
		u.lines = map[string]value{}
	}
	key := l.String()
	if first, twice := u.lines[key]; twice {
		v.problem(fmt.Sprintf("line %d is already used in line %d of the file for %s; one line, one thing", l.Offset, first.at.Line, first.path), fmt.Sprintf("GPIO%d", l.Offset), "a line of its own")
		return
	}
	u.lines[key] = v
	if l.Chip != s.LineChip {
		return // what a line outside the board's own header does at boot is not known
	}
	for _, b := range s.Buses {
		if taken := busLines(b); taken != nil && l.Offset >= taken[0] && l.Offset <= taken[1] {
			v.problem(fmt.Sprintf("GPIO%d carries the bus %s", l.Offset, b.Name), fmt.Sprintf("GPIO%d", l.Offset), "another line")
			return
		}
	}
	if d == input {
		return
	}
	switch {
	case l.Offset <= 8:
		v.problem(fmt.Sprintf("GPIO%d is high while the board boots, so that this output would switch on by itself; outputs stand on lines that are low at boot", l.Offset), fmt.Sprintf("GPIO%d", l.Offset), "GPIO9 to GPIO27")
	case l.ActiveLow && !l.HeldOff:
		v.problem("the line is low while the board boots, and this output is on when low; use one that is on when high, or hold it off with a resistor outside and say held_off: yes", fmt.Sprintf("GPIO%d active low", l.Offset), "active: high, or held_off: yes")
	}
}

// busLines gives the first and last header line of the usual buses of a board.
func busLines(b Bus) []int {
	switch b.Device {
	case "/dev/i2c-1":
		return []int{2, 3}
	case "/dev/spidev0.0", "/dev/spidev0.1":
		return []int{7, 11}
	}
	return nil
}

// input notes an input of a converter and refuses a second use that is not meant to be shared.
func (u *uses) input(v value, c Converter, channel int, shared bool, user string) {
	if u.inputs == nil {
		u.inputs = map[string]inputUse{}
	}
	key := fmt.Sprintf("%d/%v/%d", c.Chip.Bus, c.Chip, channel)
	first, known := u.inputs[key]
	switch {
	case !known:
		u.inputs[key] = inputUse{v, shared, user}
	case !first.shared || !shared:
		v.problem(fmt.Sprintf("channel %d of %v is already used in line %d of the file for %s; one channel, one clamp or sensor", channel, c.Chip, first.at.at.Line, first.user), fmt.Sprintf("channel %d", channel), "a channel of its own, or shared: yes at both clamps when one clamp feeds several machines")
	}
}

// pulse notes a channel of a servo board and refuses a second use.
func (u *uses) pulse(v value, c Chip, channel int) {
	if u.pulses == nil {
		u.pulses = map[string]value{}
	}
	key := fmt.Sprintf("%d/%v/%d", c.Bus, c, channel)
	if first, twice := u.pulses[key]; twice {
		v.problem(fmt.Sprintf("channel %d of %v already moves a gate, in line %d of the file (%s); one channel, one gate", channel, c, first.at.Line, first.path), fmt.Sprintf("channel %d", channel), "a channel of its own")
		return
	}
	u.pulses[key] = v
}
