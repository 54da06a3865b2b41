package bench

import (
	"errors"
	"fmt"
	"strings"

	"ductwarden/controller"
)

func (b *Bench) beginLearn(name string) error {
	m := -1
	var names []string
	for i, k := range b.parts.Machines {
		names = append(names, k.Name)
		if k.ID == name || strings.EqualFold(k.Name, name) {
			m = i
		}
	}
	switch {
	case m < 0:
		return fmt.Errorf("there is no machine %q in the shop file; it has: %s", name, listed(names))
	case b.parts.Machines[m].Sensor == "":
		return fmt.Errorf("%s has no clamp in the shop file, so there is no current to learn: add sensors: [{clamp: {adc: ads1115@0x48, channel: 0, scale: 33.3 mV/A, running: 2 A}}]", b.parts.Machines[m].Name)
	}
	if err := b.take(); err != nil {
		return err
	}
	b.learn = newLearning(m, b.parts.Machines[m], b.input(b.parts.Machines[m].Input), b.parts.Props != nil)
	return nil
}

func (b *Bench) beginJog(name string) error {
	g := -1
	var names []string
	for i, k := range b.parts.Gates {
		names = append(names, k.Name)
		if k.ID == name || strings.EqualFold(k.Name, name) {
			g = i
		}
	}
	if g < 0 {
		return fmt.Errorf("there is no gate %q in the shop file; it has: %s", name, listed(names))
	}
	gate := b.parts.Gates[g]
	if gate.Servo == nil && gate.Motor == nil {
		return fmt.Errorf("gate %s is slid by hand or moved by a node of its own: there is nothing here to jog it with", gate.Name)
	}
	if why := b.forbids(); why != "" {
		return errors.New(why)
	}
	if err := b.take(); err != nil {
		return err
	}
	j := newJogging(g, gate)
	if !b.parts.Loop.Lend(g, j) {
		b.free()
		return fmt.Errorf("gate %s has no actuator that could be jogged", gate.Name)
	}
	b.jog = j
	return nil
}

// forbids says why no gate may be jogged now, "" if one may: air is drawn, or somebody works on a collector.
func (b *Bench) forbids() string {
	s := b.parts.Loop.Snapshots().Latest()
	if s == nil {
		return ""
	}
	for i := range s.Collectors {
		c := &s.Collectors[i]
		if c.Feedback == "turning" || c.Phase != "off" && c.Phase != "start_failed" {
			return c.Name + " turns: a gate is not jogged while air is drawn; switch it off and wait until its wheel stands"
		}
	}
	for i := range s.Alarms {
		a := &s.Alarms[i]
		if a.Active && strings.HasPrefix(a.Key, controller.WorkOnCollector.String()+"/") {
			return a.Text + ": somebody may have a hand in the ducts, and nothing moves until it is closed"
		}
	}
	return ""
}

func (b *Bench) input(name string) Input {
	for _, i := range b.parts.Inputs {
		if i.Name == name {
			return i
		}
	}
	return Input{Name: name}
}

// end gives the bench back and keeps what it showed last.
func (b *Bench) end() {
	if b.token == "" {
		return
	}
	if b.learn != nil {
		b.learn.step = StepEnded
	}
	if b.jog != nil {
		b.jog.let()
		b.jog.step = StepEnded
		b.parts.Loop.Return(b.jog.gate)
	}
	v := b.view()
	v.Busy = ""
	b.ended = &v
	b.free()
}

func (b *Bench) free() {
	b.parts.Loop.Free()
	b.token, b.learn, b.jog = "", nil, nil
}
