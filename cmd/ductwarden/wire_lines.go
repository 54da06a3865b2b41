package main

import (
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/current/contact"
)

// Debounce times of inputs whose line says none: common practice, 5 to 50 ms for buttons and end switches.
const (
	buttonDebounce = 20 * time.Millisecond
	endDebounce    = 20 * time.Millisecond
	slowDebounce   = 200 * time.Millisecond // bin and filter contacts: nothing there is quick
)

// lineList collects the input lines of all GPIO chips.
type lineList struct {
	chips []string
	uses  map[string][]loop.LineUse
	lines map[string][]namedLine
}

func (l *lineList) add(line *config.Line, u loop.LineUse) {
	if line == nil {
		return
	}
	if line.Debounce > 0 {
		u.Debounce = line.Debounce
	}
	if _, known := l.uses[line.Chip]; !known {
		l.chips = append(l.chips, line.Chip)
	}
	l.uses[line.Chip] = append(l.uses[line.Chip], u)
	l.lines[line.Chip] = append(l.lines[line.Chip], namedLine{u.Name, *line})
}

// inputs takes every input line that the shop file names.
func (b *builder) inputs() error {
	l := &lineList{uses: map[string][]loop.LineUse{}, lines: map[string][]namedLine{}}
	b.gateLines(l)
	if err := b.machineLines(l); err != nil {
		return err
	}
	if err := b.collectorLines(l); err != nil {
		return err
	}
	b.wallLines(l)
	for _, chip := range l.chips {
		levels, err := b.wires.Inputs(chip, l.lines[chip])
		if err != nil {
			return err
		}
		b.parts.Lines = append(b.parts.Lines, loop.LineSet{Name: chip, Levels: levels, Uses: l.uses[chip]})
	}
	return nil
}

func (b *builder) gateLines(l *lineList) {
	for i := range b.file.Gates {
		g := &b.file.Gates[i]
		ends := func(open, closed *config.Line) {
			l.add(open, loop.LineUse{Name: g.Name + " open", For: loop.EndOpen, N: i, Debounce: endDebounce})
			l.add(closed, loop.LineUse{Name: g.Name + " closed", For: loop.EndClosed, N: i, Debounce: endDebounce})
		}
		if g.Proof != nil {
			ends(g.Proof.Open, g.Proof.Closed)
		}
		if h := g.Actuator.Hand; h != nil && g.Proof == nil {
			ends(h.Open, h.Closed)
		}
	}
}

func (b *builder) machineLines(l *lineList) error {
	for i := range b.file.Machines {
		m := &b.file.Machines[i]
		for _, s := range m.Sensors {
			switch {
			case s.Contact != nil:
				c, err := contact.New(contact.Settings{Name: s.Contact.Line.String(), Debounce: orElse(s.Contact.Delay, s.Contact.Line.Debounce)})
				if err != nil {
					return named("machine", m.Name, err)
				}
				l.add(&s.Contact.Line, loop.LineUse{Name: m.Name + " contact", For: loop.MachineContact, N: i, Contact: c})
			case s.Button != nil:
				l.add(&s.Button.Line, loop.LineUse{Name: m.Name + " button", For: loop.MachineButton, N: i, Debounce: buttonDebounce})
			}
		}
	}
	return nil
}

func (b *builder) collectorLines(l *lineList) error {
	for i := range b.file.Collectors {
		c := &b.file.Collectors[i]
		if c.Proof != nil && c.Proof.Contact != nil {
			k := c.Proof.Contact
			made, err := contact.New(contact.Settings{Name: k.Line.String(), Debounce: orElse(k.Delay, k.Line.Debounce)})
			if err != nil {
				return named("collector", c.Name, err)
			}
			l.add(&k.Line, loop.LineUse{Name: c.Name + " contact", For: loop.MotorContact, N: i, Contact: made})
		}
		l.add(c.DisconnectOpen, loop.LineUse{Name: c.Name + " disconnect", For: loop.DisconnectOpen, N: i, Debounce: endDebounce})
		if c.Bin != nil {
			l.add(c.Bin.Full, loop.LineUse{Name: c.Name + " bin full", For: loop.BinIsFull, N: i, Debounce: orElse(c.Bin.Delay, slowDebounce)})
		}
		if c.Filter != nil && c.Filter.Sensor != nil {
			l.add(c.Filter.Sensor.Line, loop.LineUse{Name: c.Name + " filter loaded", For: loop.FilterIsLoaded, N: i, Debounce: orElse(c.Filter.Sensor.Delay, slowDebounce)})
		}
	}
	return nil
}

// wallLines are the contacts and buttons beside the machines.
func (b *builder) wallLines(l *lineList) {
	in := &b.file.Inputs
	for _, w := range []struct {
		line *config.Line
		name string
		use  loop.Purpose
	}{
		{in.Ready, "ready", loop.ReadyButton},
		{in.Finish, "finish", loop.FinishButton},
		{in.Halt, "halt", loop.HaltButton},
		{in.Acknowledge, "acknowledge", loop.AckButton},
		{in.DisconnectOpen, "disconnect open", loop.DisconnectOpen},
		{in.Fire, "fire", loop.FireContact},
		{in.Smoke, "smoke", loop.FireContact},
	} {
		l.add(w.line, loop.LineUse{Name: w.name, For: w.use, N: controller.Everything, Debounce: buttonDebounce})
	}
	for _, w := range []struct {
		inputs []config.CollectorInput
		name   string
		use    loop.Purpose
	}{
		{in.BinEmptied, "bin emptied", loop.BinEmptied},
		{in.FilterClean, "filter cleaned", loop.FilterCleaned},
		{in.FilterChange, "filter replaced", loop.FilterReplaced},
	} {
		for i := range w.inputs {
			l.add(&w.inputs[i].Line, loop.LineUse{Name: w.name, For: w.use, N: w.inputs[i].Collector, Debounce: buttonDebounce})
		}
	}
}

// signals takes the lamps' and horns' lines.
func (b *builder) signals() error {
	for i := range b.file.Signals {
		s := &b.file.Signals[i]
		line, err := b.wires.Output(s.Name, s.Line)
		if err != nil {
			return named("signal", s.Name, err)
		}
		made := loop.Signal{Name: s.Name, Line: line, Longest: s.Longest}
		for _, x := range s.Shows {
			made.Shows = append(made.Shows, loop.Shown{What: shown[x.What], Machine: x.Machine})
		}
		b.parts.Signals = append(b.parts.Signals, made)
	}
	return nil
}

// shown gives the loop's word for what the shop file lets a signal show.
var shown = map[config.What]loop.What{
	config.ShowStandingBy:   loop.StandingBy,
	config.ShowNoAir:        loop.NoAir,
	config.ShowAlarm:        loop.Alarm,
	config.ShowStartingSoon: loop.StartingSoon,
	config.ShowAirReady:     loop.AirReady,
}
