package loop

import (
	"sync/atomic"
	"time"

	"ductwarden/controller"
	"ductwarden/current"
)

// counts are the loop's own figures; any goroutine may read them.
type counts struct {
	scans, missed, latest, outputs atomic.Int64
}

// Stats are the loop's own figures since the program started.
type Stats struct {
	Scans  int64         // completed
	Missed int64         // scans that were not made because the lane came too late
	Latest time.Duration // the worst lateness of a scan
	Failed int64         // outputs that could not be written
}

// Stats may be called from any goroutine.
func (l *Loop) Stats() Stats {
	return Stats{l.stats.scans.Load(), l.stats.missed.Load(), time.Duration(l.stats.latest.Load()), l.stats.outputs.Load()}
}

// Snapshots is where the latest state is published. Whoever watches it is never waited for.
func (l *Loop) Snapshots() *Hub[controller.Snapshot] { return &l.snaps }

// publish makes a snapshot with readings and puts it into the hub.
func (l *Loop) publish(now time.Duration) {
	shown := l.state // what is left of a rest runs down also while nothing happens
	if !l.left {
		l.unseen = controller.Step(l.parts.Shop, &shown, controller.Event{At: l.now, Kind: controller.Wake}, l.unseen[:0])
	}
	s := shown.Snapshot(l.parts.Shop)
	for i := range s.Machines {
		l.readMachine(now, i, &s.Machines[i])
	}
	for _, c := range l.chips {
		s.Chips = append(s.Chips, controller.ChipSnapshot{Name: c.chip.Name, Bus: string(c.chip.Lane), Why: c.ailing.sentence(), Resets: c.resets()})
	}
	l.showStrokes(&s)
	if l.parts.Air != nil {
		l.parts.Air.Fill(&s)
	}
	dirty := l.dirty
	l.judgeTaps(now, &s)
	l.askGroups(now, &s)
	later := l.dirty && !dirty // what a tap says is in the next snapshot
	if l.parts.Alarms != nil {
		s.Alarms = l.parts.Alarms.Fill(l.now, s.Alarms[:0])
		s.Shelved = l.parts.Alarms.Away(l.now, nil)
		l.nameCause(s.Alarms)
	}
	if l.Reserved() {
		s.Why = controller.BecauseBench.Sentence()
	}
	l.snaps.Publish(&s)
	l.dirty, l.published = later, now
}

// nameCause says of a disorderly end what the file of starts knows of it: that is what a person acknowledges.
func (l *Loop) nameCause(alarms []controller.AlarmSnapshot) {
	if l.parts.Before.Why == "" {
		return
	}
	for i := range alarms {
		if alarms[i].Key == controller.UncleanEnd.String() {
			alarms[i].Text = l.parts.Before.Why
		}
	}
}

// readMachine adds what a machine's meter reads.
func (l *Loop) readMachine(now time.Duration, m int, s *controller.MachineSnapshot) {
	e := &l.eyesOf[m]
	switch {
	case e.sight != nil:
		s.Health = e.sight.health().String()
		if ma, ok := e.sight.rms(); ok {
			a := float64(ma) / 1000
			s.CurrentA = &a
		}
		s.Channel = e.sight.show()
		if e.lane.isStale(now) {
			s.Health = current.Late.String()
		}
	case e.near != nil:
		s.Health = e.near.Health().String()
	}
}

// feed lets the watchdog know that a scan is complete and that every lane has shown itself lately.
func (l *Loop) feed(now time.Duration) {
	if l.parts.Feed == nil {
		return
	}
	for _, p := range l.lanes {
		if p.isStale(now) {
			return
		}
	}
	l.parts.Feed()
}
