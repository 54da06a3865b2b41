package plan

import (
	"cmp"
	"slices"

	"ductwarden/gates"
)

// demand is a question laid out on the tree: which gates must be open, which may be, and which ducts and
// ports count. It holds what the search needs and nothing else, so that equal demands have equal answers.
type demand struct {
	key key

	base gates.Set // open in every pattern: needed and stuck
	free gates.Set // may be opened for their air
	kept gates.Set // of them, open now: keeping one is no move
	hand gates.Set // hand gates that nobody needs: the person decides

	ports   []int // demanded ports that can have air, by place in the network
	carry   []int // carrying ducts, by place in the network, each before the one that it flows into
	down    []int // of each, the place in carry of that one; -1 for the collector
	classes []class
	classOf []int // the class of each carrying duct

	portClass int // the class of the ports: no hand gate brings a port more air
}

// class is one position of the hand gates. At their worst for a duct, those upstream of it are shut (their air
// would help it) and all others open (they draw air away from it).
type class struct{ open gates.Set }

// key names a demand and the gates it has to do with. The same key has the same answer.
type key struct {
	machines          gates.Set // demanded
	free, kept, stuck gates.Set
	loaded            bool
}

// keyOf strips a question of what does not matter for the given machines.
func (t *Tree) keyOf(q Question, machines gates.Set) key {
	k := key{machines: machines & t.mine, stuck: q.StuckOpen & t.all, loaded: q.Loaded}
	// A gate that stands open can be kept so even when the program could not open it.
	k.free = (q.Usable | q.Open) & t.all &^ t.hand &^ k.stuck
	needed := t.needed(k.machines)
	k.free &^= t.never &^ needed
	k.kept = q.Open & k.free &^ needed
	return k
}

// needed is the gates on the ways of the machines' ports.
func (t *Tree) needed(machines gates.Set) gates.Set {
	var s gates.Set
	for m := range (machines & t.mine).All() {
		s |= t.needs(m)
	}
	return s
}

// needs is the gates on the ways of one machine's ports.
func (t *Tree) needs(machine int) gates.Set {
	s := t.machines[machine].Needs
	for _, p := range t.machines[machine].Ports {
		s |= t.ports[p].through
	}
	return s
}

// openable is the gates that are open or can be; hand gates are the person's to open.
func (t *Tree) openable(k key) gates.Set { return k.free | k.stuck | t.hand }

// unserved is the machines among k's that have a gate on their way which cannot be open.
func (t *Tree) unserved(k key) gates.Set {
	var s gates.Set
	for m := range k.machines.All() {
		if t.needs(m)&^t.openable(k) != 0 {
			s = s.With(m)
		}
	}
	return s
}

// lay fills d for a key, in the room that d already has. Hand gates that nobody needs count as they are worst
// for each duct and port, or as shut.
func (t *Tree) lay(d *demand, k key, worst bool) {
	d.key = k
	d.ports, d.carry, d.classes, d.classOf = d.ports[:0], d.carry[:0], d.classes[:0], d.classOf[:0]
	openable := t.openable(k)
	d.base = k.stuck
	for m := range k.machines.All() {
		d.base |= t.machines[m].Needs & openable
		for _, p := range t.machines[m].Ports {
			if t.ports[p].through&^openable == 0 {
				d.ports = append(d.ports, p)
				d.base |= t.ports[p].through
			}
		}
	}
	d.free = k.free &^ d.base &^ t.never
	d.kept = k.kept & d.free
	if t.options.EverythingOpen {
		d.base |= t.hand
	}
	d.hand = t.hand &^ d.base
	for _, p := range d.ports {
		for _, w := range t.ports[p].way {
			if !slices.Contains(d.carry, w) {
				d.carry = append(d.carry, w)
			}
		}
	}
	slices.SortFunc(d.carry, func(a, b int) int {
		return cmp.Or(cmp.Compare(t.ducts[b].depth, t.ducts[a].depth), cmp.Compare(a, b))
	})
	d.down = d.down[:0]
	for _, e := range d.carry {
		d.down = append(d.down, slices.Index(d.carry, t.net.Ducts[e].Into))
	}
	open := d.hand
	if !worst {
		open = 0
	}
	for _, e := range d.carry {
		d.classOf = append(d.classOf, d.classFor(open&^t.ducts[e].above))
	}
	d.portClass = d.classFor(open)
}

// classFor finds or adds a position of the hand gates.
func (d *demand) classFor(open gates.Set) int {
	for i, c := range d.classes {
		if c.open == open {
			return i
		}
	}
	d.classes = append(d.classes, class{open: open})
	return len(d.classes) - 1
}
