package journal

import (
	"time"

	"ductwarden/controller"
)

// Mark is something that a person did: bin_emptied, filter_cleaned, filter_replaced.
type Mark struct{ What, Subject, Who, Note string }

// Mark records it.
func (j *Journal) Mark(m Mark) { j.put(entry{wall: j.now(), mark: &m}) }

// Change records a change that is not seen in a snapshot: a request and its answer.
func (j *Journal) Change(c Change) { j.put(entry{wall: j.now(), change: &c}) }

// Words of tallies: seconds of a state, or counts.
const (
	MachineSeconds   = "machine_running_s"
	MachineStarts    = "machine_starts"
	MachineUnserved  = "machine_without_air_s"
	GateMoves        = "gate_moves"
	CollectorStarts  = "collector_starts"
	CollectorSeconds = "collector_running_s"
	LingerSeconds    = "collector_lingering_s"
	AlarmsRaised     = "alarms_raised"
)

// Watcher turns states into changes and sums. Feed it every snapshot, from one goroutine.
type Watcher struct {
	j    *Journal
	last *controller.Snapshot
	part map[string]int64 // milliseconds not yet a whole second, by what and subject
	read time.Time
	sums []sum // not yet handed on
	sent time.Time
}

// Watcher makes one.
func (j *Journal) Watcher() *Watcher { return &Watcher{j: j, part: map[string]int64{}} }

// readEvery is how often readings join their quarter of an hour; sumEvery is how often sums are handed on though
// nothing changes: each costs a write to the card, and a kill costs what was not handed on.
const (
	readEvery = 5 * time.Minute
	sumEvery  = time.Minute
)

// Note compares a snapshot with the one before and records what changed.
func (w *Watcher) Note(s *controller.Snapshot) {
	wall := w.j.now()
	e := entry{wall: wall}
	hour := wall.Format(hourLayout)
	news := false
	if p := w.last; p != nil {
		ms := s.AtMS - p.AtMS
		count := func(what, subject, name string) {
			w.add(sum{hour, what, subject, name, 1})
			news = true
		}
		spent := func(what, subject, name string) {
			k := what + "/" + subject
			w.part[k] += ms
			if whole := w.part[k] / 1000; whole > 0 {
				w.part[k] %= 1000
				w.add(sum{hour, what, subject, name, whole})
			}
		}
		change := func(what, subject, name, was, now string) {
			if was != now {
				w.j.put(entry{wall: wall, change: &Change{s.AtMS, what, subject, name, was, now}})
			}
		}
		change("mode", "", s.Shop, p.Mode, s.Mode)
		for i, m := range s.Machines {
			if i >= len(p.Machines) || p.Machines[i].ID != m.ID {
				continue
			}
			was := p.Machines[i]
			change("machine", m.ID, m.Name, was.State, m.State)
			if m.State == "running" && was.State != "running" {
				count(MachineStarts, m.ID, m.Name)
			}
			if was.State == "running" {
				spent(MachineSeconds, m.ID, m.Name)
			}
			if was.Unserved {
				spent(MachineUnserved, m.ID, m.Name)
			}
		}
		for i, g := range s.Gates {
			if i >= len(p.Gates) || p.Gates[i].ID != g.ID {
				continue
			}
			was := p.Gates[i].State
			change("gate", g.ID, g.Name, was, g.State)
			if g.State != was && (g.State == "opening" || g.State == "closing") {
				count(GateMoves, g.ID, g.Name)
			}
			if g.State != was && g.Proved && g.StrokeMS > 0 && (was == "opening" || was == "closing") {
				e.read = append(e.read, reading{"stroke_s", g.ID, float64(g.StrokeMS) / 1000})
			}
		}
		for i, c := range s.Collectors {
			if i >= len(p.Collectors) || p.Collectors[i].ID != c.ID {
				continue
			}
			was := p.Collectors[i].Phase
			change("collector", c.ID, c.Name, was, c.Phase)
			if c.Phase == "starting" && was != "starting" {
				count(CollectorStarts, c.ID, c.Name)
			}
			switch was {
			case "lingering":
				spent(LingerSeconds, c.ID, c.Name)
				fallthrough
			case "starting", "running", "clearing", "will_not_stop", "by_hand":
				spent(CollectorSeconds, c.ID, c.Name)
			}
		}
		before := map[string]controller.AlarmSnapshot{}
		for _, a := range p.Alarms {
			before[a.Key] = a
		}
		for _, a := range s.Alarms {
			was, there := before[a.Key]
			delete(before, a.Key)
			switch {
			case !there || a.Active && !was.Active:
				change("alarm", a.Key, a.Text, "", "raised")
				count(AlarmsRaised, a.Key, a.Text)
			case was.Active && !a.Active:
				change("alarm", a.Key, a.Text, "raised", "gone")
			}
		}
		for _, a := range p.Alarms { // in the order of the list: a map would shuffle them
			if _, gone := before[a.Key]; gone && a.Active {
				change("alarm", a.Key, a.Text, "raised", "gone")
			}
		}
	}
	if news || wall.Sub(w.sent) >= sumEvery {
		e.sums, w.sums, w.sent = w.sums, nil, wall
	}
	if wall.Sub(w.read) >= readEvery {
		w.read = wall
		for _, c := range s.Collectors {
			if c.SuctionPa != nil {
				e.read = append(e.read, reading{"suction_pa", c.ID, *c.SuctionPa})
			}
			if c.FlowM3S != nil && *c.FlowM3S > 0 {
				e.read = append(e.read, reading{"flow_m3_s", c.ID, *c.FlowM3S})
			}
		}
		for _, m := range s.Machines {
			if m.CurrentA != nil && m.State == "running" {
				e.read = append(e.read, reading{"current_a", m.ID, *m.CurrentA})
			}
		}
		for _, d := range s.Ducts {
			if d.Carrying && d.VelocityMS > 0 {
				e.read = append(e.read, reading{"velocity_m_s", d.ID, d.VelocityMS})
			}
		}
	}
	if len(e.sums) > 0 || len(e.read) > 0 {
		w.j.put(e)
	}
	w.last = s
}

// add joins a sum to one of the same that waits.
func (w *Watcher) add(s sum) {
	for i := range w.sums {
		if o := &w.sums[i]; o.hour == s.hour && o.what == s.what && o.subject == s.subject {
			o.add += s.add
			return
		}
	}
	w.sums = append(w.sums, s)
}

// End hands on what waits. Note nothing afterwards.
func (w *Watcher) End() {
	if len(w.sums) > 0 {
		w.j.put(entry{wall: w.j.now(), sums: w.sums})
		w.sums = nil
	}
}
