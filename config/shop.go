package config

import (
	"time"

	"ductwarden/controller/airflow"
)

// Shop is a whole shop file: checked, names resolved to places, SI units throughout (m, m2, m3/s, m/s, Pa,
// kg/m3, Pa s, K, A, V, W, ohm, Hz; fractions for percent; time.Duration for times). Places are indexes in the
// order of the file; -1 means none.
type Shop struct {
	Path      string // of the file that was loaded; "" when it came from elsewhere
	Version   int
	Name      string
	Units     Units
	Together  [][]int // sets of machines that must run well together
	Way       Way
	Air       Air
	Transport airflow.Transport
	Own       airflow.Own // the person's own coefficients in place of the model's defaults

	Buses     []Bus
	Chips     []ChipSetting
	LineChip  string // gpiochip for lines that name none
	Duty      Duty
	Limits    Limits
	Inputs    Inputs
	Signals   []Signal
	Alarms    []AlarmSetting
	Page      Page
	Console   Console
	MQTT      *MQTT // nil: not published
	Journal   Journal
	Starts    string // path of the file of starts
	Upkeep    Upkeep
	Text      []byte // the file as it was read, for splicing
	positions map[string]Position
	Fitted    *FittedFile // numbers of the air fitted to readings; nil: defaults

	Collectors []Collector
	Ducts      []Duct
	Ports      []Port
	Gates      []Gate
	Machines   []Machine
	Taps       []Tap
}

// Units is the system in which people are shown figures.
type Units uint8

// The systems of units.
const (
	Metric Units = iota
	US
)

// Way is how the shop's gates are worked.
type Way uint8

// The ways of working.
const (
	OneEach        Way = iota // gates open for the demand and close again
	EverythingOpen            // designed with all gates open: gates stay open, only the collector is switched
)

// Air is the shop's air; density and viscosity are worked out from altitude and temperature unless given.
type Air struct {
	Altitude    float64 // m
	Temperature float64 // K
	Density     float64 // kg/m3
	Viscosity   float64 // Pa s
	Given       bool    // density and viscosity were stated by the person
}

// Duty holds when the automatic works and how long the collector stays on.
type Duty struct {
	OnDutyAfterPowerUp bool          // after a clean power-up only; false: a person presses Ready
	Linger             time.Duration // in a quiet shop; default: the longest rest of the collectors, at least 2 min
	LongestLinger      time.Duration // when the start budget asks for more
	StartWhileResting  bool          // a demand during the rest starts when the hour's budget allows; false: it waits with the horn
	Warning            time.Duration // least time between "starting soon" and the start line
	Spacing            time.Duration // between the starts of two collectors, for their inrush
}

// Limits bounds what the automatic does.
type Limits struct {
	MovingAtOnce   int           // gates, by what the servo supply can feed
	MovesPerMinute int           // of one gate
	LeastClearing  time.Duration // floor of the clearing time
	ClearingFactor float64       // on the air's own time from port to collector: chips slip behind the air
	LongestRun     time.Duration // a machine seen running for longer is asked after
	LongestHold    time.Duration // of a gate held open by a request
}

// Collector is one fan with its separator, filter and bin.
type Collector struct {
	Name, ID       string
	Fan            *Fan // nil: the air is not judged
	Filter         *Filter
	Separator      *Loss
	Exhaust        *Loss
	Outdoors       bool
	Motor          Motor
	Starter        *Starter // nil: a person switches it; only gates move
	Proof          *MotorProof
	Bin            *Bin
	DisconnectOpen *Line // auxiliary contact of its own disconnect
}

// Fan is the fan's curve as its sheet gives it.
type Fan struct {
	Inlet, Outlet float64 // m, inside diameters; outlet 0: as the inlet
	Pressure      airflow.PressureKind
	Includes      airflow.Includes
	Density       float64 // kg/m3
	Straight      bool
	Guess         bool // Curve was made from a nameplate's two numbers
	Shutoff       float64
	FreeFlow      float64
	Curve         []airflow.Point
	Power         []airflow.Point // m3/s, W
	LeastFlow     float64         // m3/s; 0: none stated
}

// Loss is a loss of pressure known at one flow: Linear is the share that grows with the flow, the rest grows
// with its square.
type Loss struct {
	Flow, Pressure, Linear float64
}

// Filter is the filter in its two states, and what tells them apart.
type Filter struct {
	Clean, Loaded Loss
	Sensor        *FilterSensor // nil: judged in both states
}

// FilterSensor says whether the filter is loaded: a pressure switch on a line, or a tap across the filter.
type FilterSensor struct {
	Line  *Line
	Tap   int           // place of the tap; -1: none
	Delay time.Duration // the state must last so long
}

// Motor is the collector's motor: its nameplate and what it may be asked.
type Motor struct {
	Power         float64 // W; 0: not stated
	Poles         int     // 2 or 4; 0: not stated
	Phases        int     // 1 or 3; 0: not stated
	StartsPerHour int
	Rest          time.Duration // least time off before the next start
	LeastRun      time.Duration
	SpinUp        time.Duration // until its air is counted
	Coast         time.Duration // the wheel turns on after the start line is off
	FromTable     bool          // starts or rest come from the table of NEMA MG 10, not from the person
}

// Starter switches the collector's motor. Exactly one of Line, Momentary and Remote is set.
type Starter struct {
	Line      *Line
	Pulsed    float64 // Hz; 0: a level line
	Momentary *Momentary
	Remote    *RemoteSocket
}

// Momentary presses the buttons of an existing starter.
type Momentary struct {
	Start, Stop Line
	Press       time.Duration
}

// RemoteSocket is a socket switched over the broker.
type RemoteSocket struct {
	Topic   string
	On, Off string // payloads
	State   *RemoteState
	Rating  float64       // W of motor that it may switch
	Lease   time.Duration // it switches itself off so long after the last request; 0: it does not
}

// MotorProof is the evidence that the collector's motor turns. Exactly one source is set.
type MotorProof struct {
	Clamp       *Clamp
	Contact     *Contact
	Tap         int     // place of the tap; -1: none
	Turning     float64 // Pa at the tap above which the fan blows
	Remote      *RemoteMeter
	StartWithin time.Duration // no proof for so long after the start line is on: the start failed
	StopWithin  time.Duration // still proved so long after it is off and coasted: it will not stop
}

// Bin is the collector's bin.
type Bin struct {
	Full  *Line
	Delay time.Duration
}

// Duct is one run of pipe of one inside diameter.
type Duct struct {
	Name, ID   string
	Into       int     // place of the duct downstream; -1: its collector's inlet
	Collector  int     // the collector at the end of its way
	Diameter   float64 // m, inside
	Pipe       string  // nominal size, when that was given
	Length     float64 // m
	Wall       string  // kind of wall; "" when the roughness was given
	Roughness  float64 // m; 0 with a Wall: the wall's own value
	Compressed float64 // share by which a hose is shorter than when stretched
	Fittings   []Fitting
	Loss       float64
	Transport  *airflow.Transport // nil: the shop's
}

// Fitting is a number of equal fittings. Loss is the person's own coefficient for one of them; negative: the
// kind's default.
type Fitting struct {
	Kind  string
	Count int
	Loss  float64
}

// Port is where air enters, at the upstream end of a duct.
type Port struct {
	Name, ID string
	Duct     int
	Hood     string  // kind; "" when HoodLoss was given
	HoodLoss float64 // on the duct's velocity pressure
	Airflow  float64 // m3/s that it wants; 0: not stated
}

// Gate is a blast gate at the upstream end of a duct.
type Gate struct {
	Name, ID  string
	Duct      int     // -1 in a shop without ducts
	Collector int     // whose air it opens; -1 in a shop without collectors
	Leak      float64 // m2 open area when closed
	Relief    airflow.Relief
	Actuator  Actuator
	Proof     *GateProof
}

// Actuator moves a gate. Exactly one is set.
type Actuator struct {
	Servo  *Servo
	Relay  *Relay
	Remote *RemoteGate
	Hand   *Hand
}

// GateProof names the end switches; either may be nil.
type GateProof struct{ Open, Closed *Line }

// Machine is a woodworking machine with a watched motor, or a sweep with a button.
type Machine struct {
	Name, ID   string
	Ports      []int
	Gates      []int // all gates on its ports' ways, and those that it names itself; rising
	Collectors []int // that it calls; rising
	RunDown    time.Duration
	LongestRun time.Duration
	Sensors    []Sensor
}

// Tap is a place where pressure is measured.
type Tap struct {
	Name, ID  string
	At        TapPlace
	Of        int // place of the collector, duct or port
	Converter Converter
	Zero      float64 // V at no pressure
	Scale     float64 // V/Pa; 0: the chip of Converter is a transducer itself
	Lowest    float64 // Pa: its range
	Highest   float64
	Drift     float64 // Pa by which the zero may wander before it is told
	Above     float64 // fraction above the model that means a plug
	Below     float64 // fraction below the model that means a leak or a loaded filter
	Delay     time.Duration
}

// TapPlace says what Tap.Of counts.
type TapPlace uint8

// The places of a tap.
const (
	AtInlet         TapPlace = iota // suction at a collector's inlet
	AtDuct                          // suction at the downstream end of a duct
	AtPort                          // suction at a port
	AcrossFilter                    // difference over a collector's filter
	AcrossSeparator                 // difference over its separator
)

// Upkeep holds the spans after which a person is reminded; zero: no reminder.
type Upkeep struct {
	Bin, Filter time.Duration // of the collector's running hours
	Record      time.Duration // of the calendar, between two records of readings
}
