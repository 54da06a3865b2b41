package publish

import (
	"errors"
	"fmt"

	"ductwarden/controller"
)

// Shop is what exists, in the order of the shop file: what is announced, and what a request may name. It
// comes from the shop file, not from a snapshot, so that a figure that is unknown at the moment keeps its
// place in the hub.
type Shop struct {
	Name       string
	Machines   []Machine
	Gates      []Gate
	Collectors []Collector
	Ducts      []Duct
}

// Machine is one machine's place in the documents.
type Machine struct {
	ID, Name string
	Current  bool // its current is measured: a contact has none
	Share    bool // its ports say what air they want, and the air is judged
}

// Gate is one gate's.
type Gate struct {
	ID, Name string
	Hand     bool // moved by hand: no request can move it
}

// Collector is one collector's.
type Collector struct {
	ID, Name string
	Judged   bool // ducts and a fan are in the shop file, so its air is judged
	Suction  bool // a pressure tap at its inlet
}

// Duct is one duct's; only those of a judged collector are announced.
type Duct struct {
	ID, Name  string
	Collector string
}

// Check refuses ids that cannot stand in a topic, and ids used twice by things of one kind. All problems come
// at once.
func (s Shop) Check() error {
	var all []error
	kind := func(what string, ids []string) {
		seen := map[string]bool{}
		for _, id := range ids {
			if err := CheckID(id); err != nil {
				all = append(all, fmt.Errorf("%s: %w", what, err))
			} else if seen[id] {
				all = append(all, fmt.Errorf("%s: id %q is used twice; ids must be unique", what, id))
			}
			seen[id] = true
		}
	}
	kind("machine", collect(s.Machines, func(m Machine) string { return m.ID }))
	kind("gate", collect(s.Gates, func(g Gate) string { return g.ID }))
	kind("collector", collect(s.Collectors, func(c Collector) string { return c.ID }))
	kind("duct", collect(s.Ducts, func(d Duct) string { return d.ID }))
	return errors.Join(all...)
}

func collect[T any](all []T, f func(T) string) []string {
	out := make([]string, len(all))
	for i, v := range all {
		out[i] = f(v)
	}
	return out
}

func (s Shop) machine(id string) int {
	return find(s.Machines, func(m Machine) bool { return m.ID == id })
}
func (s Shop) gate(id string) int { return find(s.Gates, func(g Gate) bool { return g.ID == id }) }
func (s Shop) collector(id string) int {
	return find(s.Collectors, func(c Collector) bool { return c.ID == id })
}

// find is the place of the first that fits, -1 if none does.
func find[T any](all []T, fits func(T) bool) int {
	for i, v := range all {
		if fits(v) {
			return i
		}
	}
	return -1
}

// blank is a snapshot of the shop in which nothing is known: it has all things and no values.
func (s Shop) blank() *controller.Snapshot {
	b := &controller.Snapshot{Shop: s.Name}
	for _, m := range s.Machines {
		b.Machines = append(b.Machines, controller.MachineSnapshot{ID: m.ID, Name: m.Name})
	}
	for _, g := range s.Gates {
		b.Gates = append(b.Gates, controller.GateSnapshot{ID: g.ID, Name: g.Name})
	}
	for _, c := range s.Collectors {
		b.Collectors = append(b.Collectors, controller.CollectorSnapshot{ID: c.ID, Name: c.Name})
	}
	for _, d := range s.Ducts {
		b.Ducts = append(b.Ducts, controller.DuctSnapshot{ID: d.ID, Name: d.Name, Collector: d.Collector})
	}
	return b
}
