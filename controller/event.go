package controller

import (
	"ductwarden/current"
	"ductwarden/gates"
)

// The core's words for time and for sets are those of package gates.
type (
	// Instant is whole milliseconds of monotonic time since the program started.
	Instant = gates.Instant
	// Span is a length of time in whole milliseconds.
	Span = gates.Span
	// Set is a set of gates or of machines, by place in the shop file.
	Set = gates.Set
	// Belief is what is believed of a machine.
	Belief = current.Belief
	// Selector says who may command a gate or a collector.
	Selector = gates.Selector
)

// Spans of common use.
const (
	Second = gates.Second
	Minute = gates.Minute
	Hour   = gates.Hour
)

// Limits of a shop.
const (
	MaxGates      = 64
	MaxMachines   = 64
	MaxCollectors = 4
)

// Everything is the N of an event or effect that concerns the whole shop.
const Everything = 255

// Mode is what the automatic does.
type Mode uint8

// The modes.
const (
	StandingBy Mode = iota // after power-up: nothing moves until a person presses Ready
	OnDuty                 // the automatic works
	Halted                 // stopped and latched; needs Ready
)

// Feedback is the debounced evidence of a collector's motor.
type Feedback uint8

// The evidence of a collector's motor.
const (
	NoFeedback Feedback = iota // no proof fitted
	Still                      // its current, contact or pressure says it stands
	Turning                    // says it runs
	Unreadable                 // fitted, and no fresh plausible reading
)

// Phase is what a collector does.
type Phase uint8

// The phases.
const (
	CollectorOff  Phase = iota // start line off, wheel taken as still
	Starting                   // start line on, not yet proved
	CollectorRuns              // running for a demand
	Clearing                   // no demand; under power until the last chips have left the ducts
	Lingering                  // no demand; ready for the next cut, path open
	Coasting                   // start line off, wheel still turns, path held open
	StartFailed                // commanded on, did not run; latched
	WillNotStop                // commanded off, still runs; path held open, latched
	ByHand                     // runs by its own switch
)

// Source says where a request came from.
type Source uint8

// The sources.
const (
	FromProgram Source = iota
	FromSensor
	FromButton // on the wall, wired to an input
	FromConsole
	FromPage
	FromNetwork
)

// EventKind says what happened.
type EventKind uint8

// The events. N and V are described at each; unused fields are zero.
const (
	Wake            EventKind = iota // time has passed; nothing else
	MachineSeen                      // N machine, V Belief: a belief changed
	GateSeen                         // N gate, V gates.Proof: its switches changed
	GateChip                         // N gate, V 0 answers, 1 silent, 2 was reset and knows no position, 3 the gate is back from the bench
	CollectorSeen                    // N collector, V Feedback
	DisconnectSeen                   // N collector or Everything, V 0 closed, 1 open (auxiliary contact)
	FilterSeen                       // N collector, V 0 clean, 1 loaded
	BinSeen                          // N collector, V 0 has room, 1 full
	AirSeen                          // N collector, V 0 as the model says, 1 suction above it (plug), 2 below it (leak, open bin, loaded filter), 3 a reading that cannot be believed
	MachinePressed                   // N machine: its button calls the air for its time; again ends it
	ReadyPressed                     // a person says on duty
	HaltPressed                      // stop at once and latch
	FinishPressed                    // clear and stop now, stay on duty
	Acknowledged                     // N Condition, or Everything
	HoldGate                         // N gate, V milliseconds to hold it open; 0 until told otherwise
	SelectGate                       // N gate, V Selector (Automatic or Off)
	SelectCollector                  // N collector, V Selector (HeldOpen: run by hand)
	CallAir                          // N machine, V milliseconds: open its gates and start the collector as its button would
	Restarted                        // V 0 clean, 1 unclean end of the previous program: standing by
	ShopChanged                      // a changed shop file took effect: standing by, gates unknown
	StartStored                      // N collector, V age in milliseconds of a stored start, at program start
)

// Event is one thing that happened. It carries its own time.
type Event struct {
	At   Instant
	Kind EventKind
	By   Source
	N    uint8
	V    int32
	Ref  uint32 // number of the request, for its Answered effect; 0 = nobody waits
}

// EffectKind says what is to be done.
type EffectKind uint8

// The effects. Outputs is their level form; effects are its edges.
const (
	OpenGate       EffectKind = iota // N gate: drive it open. Issued before anything that needs its air
	CloseGate                        // N gate: drive it closed. Only while another proved path stays open, or the fan stands
	RestGate                         // N gate: stop driving
	StartCollector                   // N collector: start line on. Only with a demanded way proved or assumed open
	StopCollector                    // N collector: start line off
	SaveStart                        // N collector: write a start to the file of starts; comes when its gates begin to open
	Answered                         // Ref: a request was accepted (V 0) or refused (V 1, Why)
	Note                             // Why, N, V: something to tell the person and the journal
)

// Effect is one thing to do, as data.
type Effect struct {
	Kind EffectKind
	N    uint8
	Why  Reason
	Ref  uint32
	V    int32
}
