package loop

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ductwarden/controller"
)

// Left is what a loop leaves to the one that takes its place under a changed shop file.
type Left struct {
	State controller.State
	IDs   []string // of the collectors, in their order: whose rest and starts these are
}

// Stirring says why a shop is not at rest, in sentences.
type Stirring []string

// Error joins the sentences.
func (s Stirring) Error() string { return "the shop is not at rest: " + strings.Join(s, "; ") }

// Leave asks the loop to take in nothing more, because another is to take its place. It is refused with a Stirring
// unless the shop is at rest. Outputs stay as they are, which is at rest, until the scheduler ends. It may be called
// from any goroutine but the core's own.
func (l *Loop) Leave(ctx context.Context) (left Left, err error) {
	done := make(chan error, 1)
	l.desk.mu.Lock()
	l.desk.queue = append(l.desk.queue, &ask{leave: func() {
		var why error
		if stirring := l.stirring(); len(stirring) > 0 {
			why = stirring
		} else {
			l.left = true
			left.State = l.state
			for _, c := range l.parts.Shop.Collectors {
				left.IDs = append(left.IDs, c.ID)
			}
		}
		done <- why
	}})
	l.desk.mu.Unlock()
	l.self.Wake()
	late := time.NewTimer(answerTime)
	defer late.Stop()
	select {
	case err = <-done:
		return left, err
	case <-ctx.Done():
		return Left{}, ctx.Err()
	case <-late.C:
		return Left{}, ErrEnded
	}
}

// stirring lists what keeps the shop from being at rest: whatever moves, is about to, or is in a person's hands.
func (l *Loop) stirring() (out Stirring) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	s := l.state.Snapshot(l.parts.Shop)
	for i := range s.Machines {
		switch m := &s.Machines[i]; m.State {
		case "running":
			add("%s runs", m.Name)
		case "running_down":
			add("%s runs down", m.Name)
		}
	}
	for i := range s.Gates {
		switch g := &s.Gates[i]; {
		case g.State == "opening" || g.State == "closing":
			add("gate %s moves", g.Name)
		case g.State == "failed":
			add("gate %s did not prove its end: look at it and acknowledge", g.Name)
		case g.Selector == "held_open":
			add("gate %s is held open: put it back to automatic", g.Name)
		case g.Selector == "off":
			add("gate %s is off: a changed file would put it back to automatic", g.Name)
		}
	}
	for i := range s.Collectors {
		c := &s.Collectors[i]
		switch {
		case c.Selector == "held_open":
			add("%s is run by hand", c.Name)
		case c.Selector == "off":
			add("%s is off: a changed file would put it back to automatic", c.Name)
		case c.Phase == "running" || c.Phase == "starting":
			add("%s runs", c.Name)
		case c.Phase == "clearing" || c.Phase == "lingering":
			add("%s is %s: say finish, and wait until it stands", c.Name, c.Phase)
		case c.Phase == "coasting":
			add("the wheel of %s still turns", c.Name)
		case c.Phase != "off":
			add("%s: %s", c.Name, strings.ReplaceAll(c.Phase, "_", " "))
		}
	}
	if l.Reserved() {
		add("%s", controller.BecauseBench.Sentence())
	}
	waiting := 0
	if l.parts.Alarms != nil {
		for _, a := range l.parts.Alarms.Fill(l.now, nil) {
			if !a.Acknowledged && !a.Active { // one that stands comes again; this one would be forgotten
				waiting++
			}
		}
	}
	if waiting > 0 {
		add("%d alarms wait to be acknowledged", waiting)
	}
	return out
}

// takeOver begins with what another loop has left, and tells the core that the shop file has changed: it stands by,
// and whatever is seen is told anew. Rest and starts go on where the collectors are the same; otherwise they are those
// of the file of starts.
func (l *Loop) takeOver() {
	if s := l.parts.Resumed; s != nil {
		l.state = *s
	} else {
		l.restart()
	}
	l.post(controller.Event{Kind: controller.ShopChanged})
	for c := range l.parts.Shop.Collectors {
		for _, told := range []struct {
			by   Purpose
			tell controller.EventKind
		}{{DisconnectOpen, controller.DisconnectSeen}, {BinIsFull, controller.BinSeen}, {FilterIsLoaded, controller.FilterSeen}} {
			if !l.fitted(told.by, c) { // a contact that is no longer there shows nothing
				l.post(controller.Event{Kind: told.tell, By: controller.FromSensor, N: uint8(c)})
			}
		}
		l.post(controller.Event{Kind: controller.AirSeen, By: controller.FromSensor, N: uint8(c)})
	}
}

// fitted reports whether a collector, or the whole shop, has an input for a purpose.
func (l *Loop) fitted(p Purpose, collector int) bool {
	for _, set := range l.parts.Lines {
		for _, u := range set.Uses {
			if u.For == p && (u.N == collector || u.N == controller.Everything) {
				return true
			}
		}
	}
	return false
}
