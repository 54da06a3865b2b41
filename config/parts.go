package config

import (
	"fmt"
	"time"
)

// Bus is one I2C or SPI bus.
type Bus struct {
	Name   string
	Device string // /dev/i2c-1, /dev/spidev0.0
	SPI    bool
	Speed  float64 // Hz; 0: as the board sets it
}

// Chip names a chip on a bus.
type Chip struct {
	Bus     int    // place in Shop.Buses
	Kind    string // pca9685, ads1115, mcp3208
	Address uint8  // 7-bit; 0 on SPI, where the bus's device is the chip select
}

// String gives the chip as it is written in a shop file with one bus.
func (c Chip) String() string {
	if c.Address == 0 {
		return c.Kind
	}
	return fmt.Sprintf("%s@0x%02x", c.Kind, c.Address)
}

// ChipSetting is what a chip needs said of itself.
type ChipSetting struct {
	Chip       Chip
	Oscillator float64 // Hz, pca9685: measured; 0: 25 MHz nominal
	Rate       float64 // Hz, pca9685: servo pulse rate
	Enable     *Line   // pca9685: its output-enable line
	Reference  float64 // V: mcp3208 reference; ads1115 supply
	Bias       float64 // V at the inputs of clamps without current; 0: half the reference
	Range      float64 // V, ads1115: full scale; 0: see FullScale
}

// Setting is what the file says of a chip, with the defaults filled in.
func (s *Shop) Setting(c Chip) ChipSetting {
	out := ChipSetting{Chip: c, Rate: 50, Reference: 3.3}
	for _, said := range s.Chips {
		if said.Chip == c {
			out = said
		}
	}
	if out.Oscillator == 0 {
		out.Oscillator = 25e6 // PCA9685 nominal
	}
	if out.Bias == 0 {
		out.Bias = out.Reference / 2
	}
	return out
}

// FullScale is the full scale of an ads1115 at an input in volts: what the file says, else 4.096 V, which takes in a
// swing about half of 3.3 V, or 2.048 V for a difference, which swings about zero.
func (s *Shop) FullScale(c Converter) float64 {
	switch v := s.Setting(c.Chip).Range; {
	case v > 0:
		return v
	case c.Against >= 0:
		return 2.048
	}
	return 4.096
}

// Converter names one input of a converter, alone or as a difference.
type Converter struct {
	Chip    Chip
	Channel int
	Against int // the input it is measured against; -1: ground
}

// String gives chip and channel for messages, for example "ads1115@0x48/0".
func (c Converter) String() string {
	if c.Against >= 0 {
		return fmt.Sprintf("%v/%d-%d", c.Chip, c.Channel, c.Against)
	}
	return fmt.Sprintf("%v/%d", c.Chip, c.Channel)
}

// Line is one GPIO line.
type Line struct {
	Chip      string // gpiochip0, or a chip's label
	Offset    int
	ActiveLow bool
	Pull      Pull
	Debounce  time.Duration // inputs only
	HeldOff   bool          // outputs: a resistor outside holds it off while the board boots
}

// String gives the line for messages.
func (l Line) String() string { return fmt.Sprintf("%s/%d", l.Chip, l.Offset) }

// Pull is the bias of a line.
type Pull uint8

// The biases.
const (
	PullToIdle Pull = iota // towards the level that means "not active", so that a broken wire reads so
	PullUp
	PullDown
	PullNone
)

// Servo is a servo on a pulse board.
type Servo struct {
	Chip         Chip
	Channel      int
	Open, Closed time.Duration // pulse widths
	Least, Most  time.Duration // never driven beyond
	Travel       time.Duration
	Step         time.Duration // the largest change from one pulse to the next; 0: at the servo's own speed
	Hold         bool          // pulses stay on after the move; false: released
}

// Relay is a pair of lines that run a motor, a linear actuator or a two-coil valve.
type Relay struct {
	Open, Close Line
	Travel      time.Duration
	DeadTime    time.Duration // both off between two directions
	LongestRun  time.Duration // cut by the driver itself; 0: a little more than its gate may take
}

// RemoteGate is a gate at a node on the broker, held by a lease.
type RemoteGate struct {
	Node   string
	Travel time.Duration
	Lease  time.Duration // the node does not obey older targets
	Answer time.Duration // the node confirms a target within
}

// Hand is a gate that a person slides, with or without contacts at its ends.
type Hand struct{ Open, Closed *Line }

// Sensor is one kind of evidence that a machine runs. Exactly one is set.
type Sensor struct {
	Clamp   *Clamp
	Contact *Contact
	Button  *Button
	Remote  *RemoteMeter
}

// Clamp is a current clamp on a converter's input.
type Clamp struct {
	Converter Converter
	Scale     float64       // V per A of the conductor
	Running   float64       // A rms: at or above, the motor runs
	Idle      float64       // A rms: below, it does not
	Quiet     float64       // A rms learnt with the machine off; 0: not learnt
	Settle    time.Duration // current below idle must last so long
	Brake     time.Duration // current after a stop that is the brake's, not a start
	Shared    bool          // more than one machine is fed through this clamp
}

// Contact is a dry contact that is closed while the motor runs.
type Contact struct {
	Line  Line
	Delay time.Duration
}

// Button calls the air for a time; pressed again it ends the call.
type Button struct {
	Line Line
	For  time.Duration
}

// RemoteMeter is a power or current reading on the broker.
type RemoteMeter struct {
	Topic         string
	Pointer       string  // JSON pointer (RFC 6901); "" : the payload is the number
	Power         bool    // thresholds are W; false: A
	Factor        float64 // payload number to W or A
	Running, Idle float64 // W or A
	MaxAge        time.Duration
	Online        *RemoteState
}

// RemoteState is a topic that says yes or no.
type RemoteState struct {
	Topic   string
	Pointer string
	Yes, No string
}

// Inputs are contacts and buttons beside the machines; nil: not fitted.
type Inputs struct {
	Ready, Finish, Halt, Acknowledge      *Line
	DisconnectOpen                        *Line // nothing starts, nothing moves
	Fire, Smoke                           *Line // contact of a detector: collector off, gates stay
	BinEmptied, FilterClean, FilterChange []CollectorInput
}

// CollectorInput is a button that speaks of one collector.
type CollectorInput struct {
	Line      Line
	Collector int
}

// Signal is a lamp or a horn.
type Signal struct {
	Name    string
	Line    Line
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
	ShowStandingBy What = iota
	ShowNoAir
	ShowAlarm
	ShowStartingSoon
	ShowAirReady
)

// AlarmSetting changes the delays of one alarm.
type AlarmSetting struct {
	Name    string
	On, Off time.Duration // -1: the alarm's own
}

// Page is the web page.
type Page struct {
	Listen    string
	Names     []string // host names under which it may be called
	Cert, Key string
	Viewing   bool   // who is not logged in may look
	Access    string // file of the password's hash, sessions and tokens
	Texts     string // file of the page's strings in another language; "": English
}

// Console is the local socket of the running daemon.
type Console struct{ Socket string }

// MQTT is the broker and what is said to it.
type MQTT struct {
	Broker          string // tcp://, ssl://, ws://, wss://
	Site            string
	ClientID        string
	User            string
	PasswordFile    string
	CA, Cert, Key   string
	ServerName      string
	Prefix          string // first segment of all topics
	Discovery       Discovery
	DiscoveryPrefix string
	BirthTopic      string
	BirthPayload    string
	Plain           bool // one topic a property beside the documents
	Commands        Commands
}

// Discovery is how entities are announced.
type Discovery uint8

// The ways of announcing.
const (
	DiscoveryDevice Discovery = iota // one document for the whole shop
	DiscoverySingle                  // one an entity
	DiscoveryOff
)

// Commands is what the network may ask.
type Commands uint8

// The grades of what may be asked; each contains those before it.
const (
	CommandsNone     Commands = iota
	CommandsStop              // finish, halt
	CommandsRequests          // hold a gate open, automatic again, acknowledge
	CommandsStart             // Ready, and calls that start the collector
)

// Journal is the file of events and history.
type Journal struct {
	Path string        // "" : none is kept
	Keep time.Duration // older events are removed; 0: never
}
