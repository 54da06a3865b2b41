package controller

import (
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

// State is all that the core remembers: a comparable value of small integers. The zero State is that of a
// program that has just started and seen nothing: standing by. The first event should be Restarted. Fields that
// mean nothing at present are zero.
type State struct {
	now       Instant
	due       Instant // when time alone changes something; 0 = never
	mode      Mode
	unclean   bool // the last end was not an orderly one: Ready is refused until acknowledged
	lastStart Instant
	lastOf    uint8 // whose last start that was
	machine   [MaxMachines]machine
	gate      [MaxGates]gate
	collector [MaxCollectors]collector
}

// machine is what is remembered of one machine.
type machine struct {
	belief  Belief
	fresh   bool    // idle was seen since going on duty, so that a running edge is a start
	lost    bool    // its evidence was lost while it ran: it counts as running
	overdue bool    // ran longer than longest_run and nobody said that it may
	calls   uint8   // bit c: its demand may start collector c and keeps it on
	pressed Instant // end of its button's time; 0 = not pressed
	ran     Instant // since when it runs, or since a person said that the long run is meant; 0 = it does not
	down    Instant // end of its run-down; 0 = none
	chips   Instant // until its last chip has left the ducts; 0 = none
}

// runs reports whether it makes dust by its motor, as far as is known.
func (m *machine) runs() bool { return m.belief == current.Running || m.lost }

// demands reports whether it wants air now, by its motor or its button.
func (m *machine) demands() bool { return m.runs() || m.pressed != 0 }

// gate is what is remembered of one gate.
type gate struct {
	motion   gates.Motion
	selector Selector
	silent   bool        // its chip does not answer: it cannot be driven
	redriven bool        // was driven back once after it was moved by hand
	want     gates.Drive // what the automatic wants of it now; DriveNone = leave it
	until    Instant     // end of being held open; 0 = until told otherwise
}

// latches block a collector's start until they are acknowledged after their cause is gone.
type latches uint8

const (
	latchStart     latches = 1 << iota // StartNotProved
	latchTrip                          // CollectorTripped
	latchStop                          // StopNotProved
	latchContactor                     // Contactor
	latchPath                          // PathNotKnown
)

// collector is what is remembered of one collector.
type collector struct {
	selector     Selector
	phase        Phase
	feedback     Feedback
	latch        latches
	air          uint8 // of AirSeen
	disconnected bool
	full         bool // its bin
	loaded       bool // its filter
	finish       bool // clear and stop, whoever runs
	made         bool // a start was made since the program started
	asked        bool // question and answer are in force
	flushing     uint8
	flush        Set // machines whose branches must still be flushed

	on       Instant    // the start line's rising edge; 0 = it is off
	off      Instant    // its last falling edge, or when the motor stopped; program start if none was seen
	prove    Instant    // the motor's current must follow its line by then; 0 = it does
	quiet    Instant    // since when nobody calls, while under power
	clear    Instant    // end of clearing; from then on it lingers
	flushed  Instant    // end of the present flush; 0 = its gates are not yet set
	attended Instant    // last sign of a person, while run by hand
	noPath   Instant    // since when no way is known to be open, while under power
	saved    Instant    // when a start was written that is not yet made
	edges    [4]Instant // of its current while under power, newest first

	starts   hour
	question plan.Question
	answer   plan.Answer
}

// powered reports whether the start line is on.
func (c *collector) powered() bool { return c.phase >= Starting && c.phase <= Lingering }

// noFlush is the flushing of a collector that flushes nothing; machine m is flushed as m+1.
const noFlush = 0

// Mode is what the automatic does now.
func (s *State) Mode() Mode { return s.mode }

// Now is the time of the last event.
func (s *State) Now() Instant { return s.now }

// Phase is what collector c does now.
func (s *State) Phase(c int) Phase {
	if c < 0 || c >= len(s.collector) {
		return CollectorOff
	}
	return s.collector[c].phase
}
