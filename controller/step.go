package controller

import "ductwarden/gates"

// latest is the last moment that the core tells apart: later ones count as this, so that no sum of times overflows.
const latest = Instant(1) << 60

// Step takes one event and returns what is to be done, appended to out. It is total: no event and no time
// panics, and it allocates nothing beyond out. Times that go backwards count as the last time seen.
func Step(shop *Shop, s *State, ev Event, out []Effect) []Effect {
	t := turn{shop: shop, s: s}
	s.now = max(s.now, min(ev.At, latest), 1)
	before := s.levels()
	why, ok := t.take(ev)
	t.settle()
	out = t.tell(before, out)
	if ev.Ref != 0 {
		answer := Effect{Kind: Answered, N: ev.N, Ref: ev.Ref}
		if !ok {
			answer.V, answer.Why = 1, why
		}
		out = append(out, answer)
	}
	return append(out, t.notes[:t.noted]...)
}

// turn is one step in the making.
type turn struct {
	shop *Shop
	s    *State
	due  Instant // the earliest deadline met so far

	tree    [MaxCollectors]Set // gates of each collector
	users   [MaxCollectors]Set // machines of each collector
	run     [MaxCollectors]Set // of them, running or called
	down    [MaxCollectors]Set // of them, running down or with chips on their way
	open    Set                // gates known to be open
	frozen  Set                // gates of machines whose evidence is lost
	again   bool               // something changed that an earlier part of the pass depends on
	saves   Set                // collectors whose start is to be written
	gateWhy [MaxGates]Reason   // of what changed in this step
	gateFor [MaxGates]uint8
	lineWhy [MaxCollectors]Reason
	lineFor [MaxCollectors]uint8
	notes   [8]Effect
	noted   int
}

// levels is what is on: start lines, and what each actuator pushes.
type levels struct {
	lines Set
	drive [MaxGates]gates.Drive
}

func (s *State) levels() (l levels) {
	for c := range s.collector {
		if s.collector[c].powered() {
			l.lines = l.lines.With(c)
		}
	}
	for g := range s.gate {
		l.drive[g] = s.gate[g].motion.Drive
	}
	return l
}

// mostPasses bounds the passes of one step. Each pass that asks for another has moved a collector to its next
// phase or a gate to its end, or has taken a branch from a queue; none of these goes round.
const mostPasses = 6

// settle lets time and demand have their way until nothing more follows from them.
func (t *turn) settle() {
	for range mostPasses {
		t.again, t.due = false, 0
		t.pass()
		if !t.again {
			break
		}
	}
	t.s.due = t.due
	if t.again { // a queue of branches that cannot be flushed takes more: go on at once
		t.s.due = t.s.now + 1
	}
}

// pass goes once through machines, gates and collectors.
func (t *turn) pass() {
	t.layout()
	t.known()
	for m := range t.shop.Machines {
		t.machineTime(m)
	}
	for g := range t.shop.Gates {
		t.gateTime(g)
	}
	for c := range t.shop.Collectors {
		t.motor(c)
	}
	t.demand()
	for c := range t.shop.Collectors {
		t.power(c)
		t.ask(c)
	}
	t.move()
	for c := range t.shop.Collectors {
		t.path(c)
		t.start(c)
	}
}

// layout gathers the sets of the shop.
func (t *turn) layout() {
	t.tree, t.users = [MaxCollectors]Set{}, [MaxCollectors]Set{}
	for g := range t.shop.Gates {
		if c := t.shop.Gates[g].Collector; c < MaxCollectors {
			t.tree[c] = t.tree[c].With(g)
		}
	}
	for m := range t.shop.Machines {
		for c := range t.shop.Collectors {
			if t.shop.Machines[m].Collectors.Has(c) {
				t.users[c] = t.users[c].With(m)
			}
		}
	}
}

// at remembers a deadline.
func (t *turn) at(deadline Instant) {
	if deadline > t.s.now && (t.due == 0 || deadline < t.due) {
		t.due = deadline
	}
}

// note tells something that is no output.
func (t *turn) note(why Reason, n uint8) {
	if t.noted < len(t.notes) {
		t.notes[t.noted] = Effect{Kind: Note, N: n, Why: why}
		t.noted++
	}
}

// because keeps the reason for what changes at a gate in this step.
func (t *turn) because(g int, why Reason, of uint8) {
	t.gateWhy[g], t.gateFor[g] = why, of
}

// tell turns the difference between what was on and what is on into effects: stops first, then gates that rest
// and gates that open, then starts, then gates that close.
func (t *turn) tell(was levels, out []Effect) []Effect {
	is := t.s.levels()
	for c := range MaxCollectors {
		if was.lines.Has(c) && !is.lines.Has(c) {
			out = append(out, Effect{Kind: StopCollector, N: uint8(c), Why: t.lineWhy[c], V: int32(t.lineFor[c])})
		}
	}
	if was.drive != is.drive {
		out = t.tellGates(&was, &is, gates.DriveNone, RestGate, out)
		out = t.tellGates(&was, &is, gates.DriveOpen, OpenGate, out)
	}
	for c := range t.saves.All() {
		out = append(out, Effect{Kind: SaveStart, N: uint8(c)})
	}
	for c := range MaxCollectors {
		if !was.lines.Has(c) && is.lines.Has(c) {
			out = append(out, Effect{Kind: StartCollector, N: uint8(c), Why: t.lineWhy[c], V: int32(t.lineFor[c])})
		}
	}
	if was.drive != is.drive {
		out = t.tellGates(&was, &is, gates.DriveClose, CloseGate, out)
	}
	return out
}

// tellGates tells the gates whose drive has become d, those that open in the order of their reasons' rank.
func (t *turn) tellGates(was, is *levels, d gates.Drive, kind EffectKind, out []Effect) []Effect {
	var changed Set
	for g := range is.drive {
		if is.drive[g] == d && was.drive[g] != d {
			changed = changed.With(g)
		}
	}
	for rank := 0; rank < reasonRanks && !changed.Empty(); rank++ {
		for g := range changed.All() {
			if t.gateWhy[g].rank() == rank {
				out = append(out, Effect{Kind: kind, N: uint8(g), Why: t.gateWhy[g], V: int32(t.gateFor[g])})
				changed = changed.Without(g)
			}
		}
	}
	return out
}

// Wake says when the core wants to be called next although nothing happens: Step with an event Wake at or
// after that time. ok is false when only an event can change anything.
func (s *State) Wake(*Shop) (at Instant, ok bool) { return s.due, s.due != 0 }
