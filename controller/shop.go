package controller

import (
	"errors"
	"fmt"

	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// Shop is what the core knows of a shop. It is built once from the shop file, checked by Check and never
// changed afterwards. Places in the slices are the numbers in events, effects and sets.
type Shop struct {
	Name       string
	Machines   []Machine
	Gates      []Gate
	Collectors []Collector // at least one; a shop without a collector has one with neither name nor starter
	Ducts      []Duct      // names for what a plan says; may be empty

	EverythingOpen    bool // designed with all gates open: gates are opened and stay open, only the collector is switched
	OnDutyAfterStart  bool // on duty by itself after a clean power-up
	StartWhileResting bool // a demand during the rest starts at once when the hour's budget allows; else it waits

	Linger         Span  // run on in a quiet shop after clearing
	LongestLinger  Span  // longest time under power without any demand
	LeastClearing  Span  // least time under power after a demand
	MovingAtOnce   uint8 // gates driven at one time: what their supply can carry
	MovesPerMinute uint8 // of one gate, 4 to gates.MostMovesPerMinute
	LongestRun     Span  // a machine that runs longer asks for an acknowledgement
	LongestHold    Span  // of a gate that a request holds open; 0 = until told otherwise
	LongRunGrace   Span  // and after this stops calling the air
	InrushSpacing  Span  // least time between the starts of two collectors
	Warning        Span  // starting_soon is shown this long before a delayed start
	PathLost       Span  // longest time under power without a known path
	Network        NetworkRights
}

// NetworkRights says what requests from the network may do. Each right includes those before it.
type NetworkRights uint8

// The rights of the network.
const (
	NetworkNone     NetworkRights = iota
	NetworkStop                   // finish, halt
	NetworkRequests               // also acknowledge, hold and select gates, switch the collector off
	NetworkStart                  // also Ready, call the air, run the collector
)

// Machine is a woodworking machine or a floor sweep.
type Machine struct {
	ID, Name   string
	Needs      Set  // the gates on the ways of all its ports
	Collectors Set  // that its ports lead to
	RunDown    Span // its cutter turns and throws dust after the current has ended
	Button     Span // how long its button calls the air; 0 = it has none
	Sensed     bool // a clamp or a contact watches it
	LongestRun Span // as the shop's, for this machine; 0 = the shop's
}

// Gate is one blast gate.
type Gate struct {
	ID, Name  string
	Collector uint8 // whose tree it stands in
	Motion    gates.Limits
}

// Collector is a fan with its ducts.
type Collector struct {
	ID, Name      string
	Starter       bool  // the program can switch it; else it only watches
	Proof         bool  // a clamp or contact on its motor
	FilterSensor  bool  // FilterSeen says clean or loaded; else the filter is taken as loaded
	Ways          []Set // one for each port: the gates between it and the fan. Ports preferred as relief first. An empty set is a port that is always open
	StartsPerHour uint8 // 1 to MostStarts
	Rest          Span  // least time between a stop and the next start
	LeastRun      Span  // least time under power for the automatic
	SpinUp        Span  // until its air is counted
	Coast         Span  // its wheel turns after the line has gone off
	ProveOn       Span  // current must show within this after the start
	ProveOff      Span  // and be gone within this after the stop
	Planner       plan.Planner
}

// Duct names one duct for messages.
type Duct struct {
	ID, Name  string
	Transport int32 // mm/s asked, margin included; 0 = not judged
}

// MostStarts is the longest starts budget of an hour.
const MostStarts = 32

// Check reports every value that the core could not work with, joined into one error.
func (p *Shop) Check() error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if len(p.Gates) > MaxGates {
		bad("a shop has at most %d gates, this one has %d", MaxGates, len(p.Gates))
	}
	if len(p.Machines) > MaxMachines {
		bad("a shop has at most %d machines, this one has %d", MaxMachines, len(p.Machines))
	}
	if n := len(p.Collectors); n < 1 || n > MaxCollectors {
		bad("a shop has 1 to %d collectors, this one has %d", MaxCollectors, n)
	}
	if p.MovingAtOnce < 1 {
		bad("moving_at_once is %d; it must be at least 1", p.MovingAtOnce)
	}
	if m := p.MovesPerMinute; m < gates.LeastMovesPerMinute || m > gates.MostMovesPerMinute {
		bad("moves_per_minute is %d; it may be %d to %d", m, gates.LeastMovesPerMinute, gates.MostMovesPerMinute)
	}
	within := func(what string, v, least, most Span) {
		if v < least || v > most {
			bad("%s is %d ms; it may be %d to %d ms", what, v, least, most)
		}
	}
	within("linger", p.Linger, 0, 4*Hour)
	within("longest_linger", p.LongestLinger, 0, 4*Hour)
	within("least_clearing", p.LeastClearing, 0, 10*Minute)
	within("longest_run", p.LongestRun, Minute, 24*Hour)
	within("longest_hold", p.LongestHold, 0, 24*Hour)
	within("the grace after longest_run", p.LongRunGrace, 0, 4*Hour)
	within("the spacing of starts", p.InrushSpacing, 0, Minute)
	within("the warning before a start", p.Warning, 0, Minute)
	within("the longest time without a path", p.PathLost, 100, Minute)
	for i, g := range p.Gates {
		if int(g.Collector) >= len(p.Collectors) {
			bad("gate %q (%d) names collector %d of %d", g.Name, i, g.Collector, len(p.Collectors))
		}
		if err := g.Motion.Check(); err != nil {
			bad("gate %q: %w", g.Name, err)
		}
	}
	gateSet, collectorSet := first(len(p.Gates)), first(len(p.Collectors))
	for _, m := range p.Machines {
		if m.Needs&^gateSet != 0 {
			bad("machine %q needs a gate that the shop does not have", m.Name)
		}
		if m.Collectors&^collectorSet != 0 || m.Collectors.Empty() {
			bad("machine %q leads to no collector of the shop", m.Name)
		}
		within(fmt.Sprintf("run_down of machine %q", m.Name), m.RunDown, 0, 10*Minute)
		within(fmt.Sprintf("the button's time of machine %q", m.Name), m.Button, 0, 4*Hour)
		within(fmt.Sprintf("longest_run of machine %q", m.Name), m.LongestRun, 0, 24*Hour)
	}
	for i := range p.Collectors {
		c := &p.Collectors[i]
		if c.Planner == nil {
			bad("collector %q has no planner", c.Name)
		}
		for _, w := range c.Ways {
			if w&^gateSet != 0 {
				bad("a way to collector %q has a gate that the shop does not have", c.Name)
			}
		}
		if !c.Starter {
			continue
		}
		if c.StartsPerHour < 1 || c.StartsPerHour > MostStarts {
			bad("starts_per_hour of collector %q is %d; it may be 1 to %d", c.Name, c.StartsPerHour, MostStarts)
		}
		within(fmt.Sprintf("rest of collector %q", c.Name), c.Rest, 0, Hour)
		within(fmt.Sprintf("least_run of collector %q", c.Name), c.LeastRun, 0, Hour)
		within(fmt.Sprintf("spin_up of collector %q", c.Name), c.SpinUp, 0, Minute)
		within(fmt.Sprintf("coast of collector %q", c.Name), c.Coast, 0, 10*Minute)
		within(fmt.Sprintf("the start proof of collector %q", c.Name), c.ProveOn, 100, 30*Second)
		within(fmt.Sprintf("the stop proof of collector %q", c.Name), c.ProveOff, 100, 30*Second)
	}
	return errors.Join(errs...)
}

// first is the set of places 0 to n-1.
func first(n int) Set {
	if n >= 64 {
		return ^Set(0)
	}
	return Set(1)<<uint(n) - 1
}
