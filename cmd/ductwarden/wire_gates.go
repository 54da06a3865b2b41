package main

import (
	"fmt"
	"math"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/starter"
	"ductwarden/gates"
	"ductwarden/gates/pca9685"
	"ductwarden/gates/relay"
	"ductwarden/gates/servo"
)

// starters takes the collectors' start lines first: they are driven off before anything else is touched.
func (b *builder) starters() error {
	b.parts.Starters = make([]loop.Starter, max(1, len(b.file.Collectors)))
	for i := range b.file.Collectors {
		c := &b.file.Collectors[i]
		if c.Starter == nil {
			continue
		}
		s, err := b.starter(c)
		if err != nil {
			return named("collector", c.Name, err)
		}
		b.parts.Starters[i] = s
		b.daemon.leaves = append(b.daemon.leaves, c.Name+": "+s.LeavesBehind())
	}
	return nil
}

func (b *builder) starter(c *config.Collector) (starter.Starter, error) {
	switch st := c.Starter; {
	case st.Line != nil:
		line, err := b.wires.Output("start "+c.Name, *st.Line)
		if err != nil {
			return nil, err
		}
		if st.Pulsed == 0 {
			return starter.NewLevel(st.Line.String(), line)
		}
		return starter.NewPulsed(starter.PulsedSettings{Name: st.Line.String(), Line: line, Rate: int(math.Round(st.Pulsed))})
	case st.Momentary != nil:
		m := st.Momentary
		on, err := b.wires.Output("start "+c.Name, m.Start)
		if err != nil {
			return nil, err
		}
		off, err := b.wires.Output("stop "+c.Name, m.Stop)
		if err != nil {
			return nil, err
		}
		return starter.NewMomentary(starter.MomentarySettings{Name: m.Start.String() + "+" + m.Stop.String(), Start: on, Stop: off, Press: m.Press})
	}
	return b.socket(c.Starter.Remote)
}

// boards makes every pulse board that a servo is on.
func (b *builder) boards() error {
	for i := range b.file.Gates {
		if sv := b.file.Gates[i].Actuator.Servo; sv != nil {
			if _, err := b.board(sv.Chip, i); err != nil {
				return named("gate", b.file.Gates[i].Name, err)
			}
		}
	}
	return nil
}

// pulseBoard is a pulse board in the making.
type pulseBoard struct {
	*pca9685.Board
	part int // place in the loop's chips
}

func (b *builder) board(c config.Chip, gate int) (*pulseBoard, error) {
	for _, made := range b.pulse {
		if made.chip == c {
			b.parts.Chips[made.part].Gates = b.parts.Chips[made.part].Gates.With(gate)
			return &made.pulseBoard, nil
		}
	}
	bus, err := b.wires.I2C(c.Bus)
	if err != nil {
		return nil, err
	}
	set := b.file.Setting(c)
	s := pca9685.Settings{Addr: uint16(c.Address), Oscillator: int64(set.Oscillator), Rate: int(math.Round(set.Rate))}
	if set.Enable != nil {
		if s.Enable, err = b.wires.Output("enable "+c.String(), *set.Enable); err != nil {
			return nil, err
		}
	}
	board, err := pca9685.New(bus, s)
	if err != nil {
		return nil, err
	}
	made := &madeBoard{chip: c, pulseBoard: pulseBoard{board, len(b.parts.Chips)}}
	b.pulse = append(b.pulse, made)
	b.parts.Chips = append(b.parts.Chips, loop.Chip{
		Lane: b.lane(c.Bus), Name: c.String(), Poll: board.Poll, Err: board.Err, Gates: controller.Set(0).With(gate),
		State: func() loop.ChipState {
			return loop.ChipState{Silent: board.State() == pca9685.Silent || board.State() == pca9685.WrongChip, Resets: board.Resets()}
		},
	})
	return &made.pulseBoard, nil
}

// madeBoard is a pulse board and its chip.
type madeBoard struct {
	chip config.Chip
	pulseBoard
}

// gates makes the actuators.
func (b *builder) gates() error {
	for i := range b.file.Gates {
		g := &b.file.Gates[i]
		a, lane, err := b.actuator(g, i)
		if err != nil {
			return named("gate", g.Name, err)
		}
		if a != nil {
			b.parts.Actuators = append(b.parts.Actuators, loop.Actuator{Lane: lane, Gate: i, Actuator: a})
		}
	}
	return nil
}

func (b *builder) actuator(g *config.Gate, i int) (gates.Actuator, loop.Lane, error) {
	switch a := g.Actuator; {
	case a.Servo != nil:
		board, err := b.board(a.Servo.Chip, i)
		if err != nil {
			return nil, "", err
		}
		s, err := servo.New(board.Board, servo.Settings{
			Board: board.String(), Channel: a.Servo.Channel, Open: a.Servo.Open, Closed: a.Servo.Closed,
			Least: a.Servo.Least, Most: a.Servo.Most, Travel: a.Servo.Travel, Slew: a.Servo.Step, Hold: a.Servo.Hold,
		})
		return s, b.lane(a.Servo.Chip.Bus), err
	case a.Relay != nil:
		open, err := b.wires.Output("open "+g.Name, a.Relay.Open)
		if err != nil {
			return nil, "", err
		}
		shut, err := b.wires.Output("close "+g.Name, a.Relay.Close)
		if err != nil {
			return nil, "", err
		}
		set := relay.Settings{
			Name: fmt.Sprintf("%v+%v", a.Relay.Open, a.Relay.Close), Open: open, Close: shut,
			Travel: a.Relay.Travel, DeadTime: a.Relay.DeadTime, LongestRun: a.Relay.LongestRun,
		}
		if g.Proof != nil {
			set.Seen = func() gates.Proof { return b.daemon.loop.Proof(i) }
		}
		r, err := relay.New(set)
		return r, loop.Core, err // lines never wait, and the end switches are read there
	case a.Remote != nil:
		r, err := b.remoteGate(g, i)
		return r, partsLane, err
	}
	return nil, "", nil
}
