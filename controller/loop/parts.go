package loop

import (
	"time"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// Parts are what a loop is made of. They are built from a shop file, on metal or in a simulated shop, by the same
// code; the loop does not know which.
type Parts struct {
	Shop      *controller.Shop
	Scheduler Scheduler
	Chips     []Chip
	Lines     []LineSet
	Actuators []Actuator
	Starters  []Starter // by collector; nil: a person switches it
	Signals   []Signal
	Taps      []Tap

	Starts  *Starts                      // file of starts; nil: nothing is remembered
	Before  Restored                     // what it said at program start
	Air     *Air                         // fills the figures of the ducts in; nil: the air is not judged
	Anew    bool                         // a changed shop file has taken effect: standing by, whatever the shop chose
	Resumed *controller.State            // with Anew: what the loop before left, where the collectors are the same; nil: Before
	Alarms  Alarms                       // nil: no alarm list
	Feed    func()                       // systemd's watchdog, fed after a completed scan with fresh samples; nil: none
	Stepped func(Stepped)                // told of every step of the core, on the core's lane; it must not wait. nil: nobody
	Asked   func(Asked)                  // told of every request with its answer, on the core's lane; it must not wait. nil: nobody
	Scanned func(took time.Duration)     // told how long each scan took, on the core's lane; it must not wait. nil: nobody
	Trouble func(what string, err error) // told when a chip or a channel cannot be used for longer than a moment, and with nil when it can again, on its lane; it must not wait. nil: nobody
	Changed func(err error)              // told when a thing of the loop's own fails or mends: the file of starts; nil: nobody
}

// Stepped is one step of the core, complete: what replay needs. The slices are the loop's own, to be copied.
type Stepped struct {
	Seq     uint64 // rising by one from 1
	Event   controller.Event
	Effects []controller.Effect
	State   *controller.State // after the step
}

// Chip is something on a bus that is polled by itself: a converter with its meters, a pulse board with its gates.
type Chip struct {
	Lane   Lane
	Name   string
	Poll   func(now time.Duration) (next time.Duration, err error)
	Meters []Meter
	Gates  controller.Set   // whose pulses it sends
	State  func() ChipState // asked after each Poll; nil: the meters say all there is
	Err    func() error     // asked after each Poll: why it cannot be used, one sentence; nil: it has none to tell
}

// ChipState is how a pulse board does.
type ChipState struct {
	Silent bool // does not answer: gates on it cannot be moved
	Resets int  // how often it was found to have forgotten everything
}

// Meter is a meter and what it watches: one machine, several that are fed through one clamp, or a collector's motor.
type Meter struct {
	current.Meter
	Machines  controller.Set
	Collector int // -1: none
}

// Fed is a meter that the loop feeds a line's level: a contact.
type Fed interface {
	current.Meter
	Line(at time.Duration, high bool)
	Fail(at time.Duration)
}

// Levels are input lines that are read together: bit i is the logical level of line i.
type Levels interface {
	Read() (levels uint64, err error)
}

// LineSet is the inputs of one GPIO chip. They are read on the core's lane at every scan.
type LineSet struct {
	Name string
	// Holds is set where lines that cannot be read keep what was last seen: a node on the network, whose silence is
	// told by its chip. An open gate does not shut because its node is not heard.
	Holds  bool
	Levels Levels
	Uses   []LineUse // of line i
}

// LineUse says what an input line is for.
type LineUse struct {
	Name     string
	For      Purpose
	N        int           // gate, machine or collector; controller.Everything for the whole shop
	Debounce time.Duration // a level must stand so long
	Contact  Fed           // of a machine's or a collector's contact, which debounces by itself
}

// Purpose is what an input line is for.
type Purpose uint8

// The purposes.
const (
	EndOpen        Purpose = iota // a gate's switch at its open end
	EndClosed                     // and at its closed end
	MachineContact                // closed while a machine runs
	MotorContact                  // closed while a collector's motor runs
	MachineButton                 // calls the air for a machine
	ReadyButton                   // a person says on duty
	FinishButton                  // clear and stop now
	HaltButton                    // stop at once and latch
	AckButton                     // acknowledge everything
	DisconnectOpen                // auxiliary contact of a disconnect
	FireContact                   // a detector of fire or smoke: as halt
	BinIsFull                     // of a collector
	FilterIsLoaded                // of a collector
	BinEmptied                    // a person says so
	FilterCleaned                 // a person says so
	FilterReplaced                // a person says so
)

// Actuator is a gate's actuator on its bus's lane.
type Actuator struct {
	Lane Lane
	Gate int
	gates.Actuator
}

// Starter switches a collector's motor. It is driven on the core's lane at every scan, so that a start line that
// is pulsed lives only as long as the scan does.
type Starter interface {
	// On asks for the motor; it is repeated at every scan while the motor is wanted.
	On(now time.Duration) error
	// Off asks for the motor to stop.
	Off(now time.Duration) error
	// Poll does what is due and returns when it wants to be called next; zero means not until On or Off.
	Poll(now time.Duration) (next time.Duration, err error)
	// Halt switches off at once. Where Poll afterwards returns a time, it is polled until it returns zero.
	Halt() error
	// String names the line for messages.
	String() string
}

// Setter is an output line; true is its active level.
type Setter interface{ Set(on bool) error }

// Signal is a lamp or a horn.
type Signal struct {
	Name    string
	Line    Setter
	Shows   []Shown
	Longest time.Duration // falls silent after so long; 0: never
}

// Shown is one thing that a signal shows.
type Shown struct {
	What    What
	Machine int // for AirReady; -1: any
}

// What a signal can show.
type What uint8

// The things shown.
const (
	StandingBy What = iota
	NoAir
	Alarm
	StartingSoon
	AirReady
)

// Tap is a place where pressure is measured.
type Tap struct {
	Name, ID  string
	Collector int
	Place     TapPlace
	Of        int                               // duct or port in the collector's network
	Read      func() (pascals float64, ok bool) // asked on Lane
	Lane      Lane

	Inlet        float64       // m: inside diameter of the pipe at an inlet tap
	Drift        float64       // Pa by which the zero may wander; 0: it is not looked at
	Above, Below float64       // shares by which a reading may differ from the model
	Delay        time.Duration // a difference must last so long
	Judges       bool          // a filter tap that tells clean from loaded
}

// TapPlace is what the loop does with a tap's reading besides showing it.
type TapPlace uint8

// The places that the loop knows.
const (
	TapElsewhere TapPlace = iota // not in the model: it is shown
	TapInlet                     // suction at the collector's inlet
	TapFilter                    // difference over its filter
	TapSeparator                 // difference over its separator
	TapDuct                      // suction at the downstream end of a duct
	TapPort                      // suction behind a port's hood
)

// Alarms is the alarm list, as the loop drives it. It is called on the core's lane only.
type Alarms interface {
	// Update takes what stands now. It returns when it wants to be called again although nothing changes, 0 if not.
	Update(at controller.Instant, standing []controller.Standing) (next controller.Instant)
	// Fill appends the list as people are shown it.
	Fill(at controller.Instant, out []controller.AlarmSnapshot) []controller.AlarmSnapshot
	// Away appends those that a person has put away.
	Away(at controller.Instant, out []controller.AlarmSnapshot) []controller.AlarmSnapshot
	// Acknowledge takes a person's acknowledgement of a condition, or of everything.
	Acknowledge(at controller.Instant, what uint8)
	// Shelve puts an alarm away until a moment, with a reason; an error is a sentence for the person.
	Shelve(key string, until, at controller.Instant, reason string) error
	// Sounds reports whether one waits for a person.
	Sounds() bool
}
