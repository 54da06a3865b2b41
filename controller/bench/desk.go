package bench

import "context"

// Desk is the bench as the verbs and the page see it, in this process or over the console socket.
type Desk interface {
	// View is what there is to see now. Naming a session keeps it alive; "" only looks.
	View(ctx context.Context, session string) (View, error)
	// Do carries out one order and returns what there is to see afterwards. A refusal is a *Refusal.
	Do(ctx context.Context, o Order) (View, error)
}

// Actions of an Order.
const (
	ActLearn   = "learn"   // begin to learn machine Target (id or name)
	ActJog     = "jog"     // begin to jog gate Target (id or name)
	ActAccept  = "accept"  // the cautions have been read; nothing moves before
	ActNext    = "next"    // learn: done as asked, or the cutter stands
	ActAgain   = "again"   // learn: from the beginning
	ActStep    = "step"    // jog: Value +10, -50 (microseconds), or +200ms, -200ms of a motor towards open or closed
	ActGo      = "go"      // jog: Value open or closed, the end that is marked or stands in the file
	ActMark    = "mark"    // jog: Value open or closed: the gate stands at this end now
	ActRelease = "release" // jog: no pulses, no power
	ActPropose = "propose" // jog: both ends are marked
	ActWrite   = "write"   // write the proposed changes into the shop file
	ActEnd     = "end"     // give the bench back
)

// Order is one thing that a person asks of the bench.
type Order struct {
	Action  string `json:"action"`
	Session string `json:"session,omitempty"` // of the session that it belongs to; a learn or jog begins one
	Target  string `json:"target,omitempty"`
	Value   string `json:"value,omitempty"`
}

// Refusal says in one sentence why an order was not carried out, and what to do.
type Refusal struct{ Reason string }

// Error implements error.
func (r *Refusal) Error() string { return r.Reason }

// View is all that there is to see at the bench.
type View struct {
	AtMS     int64         `json:"at_ms"` // monotonic, since the program started
	Busy     string        `json:"busy"`  // "", learn, jog
	Learn    *LearnSession `json:"learn,omitempty"`
	Jog      *JogSession   `json:"jog,omitempty"`
	Channels []Channel     `json:"channels"` // of all converters, live
}

// Channel is one input of a converter, live.
type Channel struct {
	Name     string   `json:"name"`               // main:ads1115@0x48/0
	Watches  []string `json:"watches"`            // names of machines, or of a collector
	CurrentA *float64 `json:"current_a"`          // true RMS; null where there is none yet
	Health   string   `json:"health"`             // good, flat, clipped ...
	State    string   `json:"state"`              // unknown, idle, running
	RunningA float64  `json:"running_a"`          // threshold in the file
	IdleA    float64  `json:"idle_a"`             // threshold in the file
	MostA    float64  `json:"most_a"`             // the largest true RMS of a sine that the input can show
	Words    string   `json:"words,omitempty"`    // what is wrong with it and what to do, one sentence
	Suspects bool     `json:"suspects,omitempty"` // Words names a fault, not a hint
}

// Steps of learning, in order.
const (
	StepCaution = "caution"  // the cautions are to be accepted
	StepIdle    = "idle"     // the machine is off and is listened to
	StepStart   = "start"    // the person starts it
	StepRun     = "run"      // it runs without work
	StepStop    = "stop"     // the person switches it off
	StepRunDown = "run_down" // the stopwatch runs until the cutter stands
	StepDone    = "done"     // there is a proposal, or a reason why there is none
	StepEnded   = "ended"    // the bench was given back
)

// LearnSession is a machine being learnt.
type LearnSession struct {
	Session  string      `json:"session"`
	Machine  string      `json:"machine"`
	ID       string      `json:"id"`
	Channel  string      `json:"channel"`
	Step     string      `json:"step"`
	Say      string      `json:"say"`                // what the person is to do now
	Cautions []string    `json:"cautions"`           // to be read before it begins
	Waits    bool        `json:"waits"`              // for ActNext (ActAccept at the caution)
	LeftMS   int64       `json:"left_ms,omitempty"`  // until the step ends by itself
	WatchMS  int64       `json:"watch_ms,omitempty"` // of the stopwatch
	CurrentA *float64    `json:"current_a"`
	Findings []Finding   `json:"findings"`
	Figures  Figures     `json:"figures"`
	Proposal *Proposal   `json:"proposal,omitempty"`
	Plot     []PlotPoint `json:"plot"` // oldest first
	Changes  []Change    `json:"changes"`
	Diff     string      `json:"diff"`
	Written  bool        `json:"written"`
}

// Finding is something that learning or jogging has noticed.
type Finding struct {
	Kind  string `json:"kind"`  // whole_cable, dead_clamp, light_on, drive, clipped ...
	Grave bool   `json:"grave"` // there is no proposal while it stands
	Text  string `json:"text"`  // what, where, and what to do
}

// Figures are what was measured of a machine, true RMS in amperes; null where not measured.
type Figures struct {
	IdleA   *float64 `json:"idle_a"`   // machine off: middle value
	IdleTop *float64 `json:"idle_top"` // machine off: the highest
	StartA  *float64 `json:"start_a"`  // the highest while it ran up
	RunUpS  *float64 `json:"run_up_s"` // until the current had settled
	RunA    *float64 `json:"run_a"`    // running without work: middle value
	RunLow  *float64 `json:"run_low"`  // running without work: the lowest
	BrakeS  *float64 `json:"brake_s"`  // current that flowed after the stop: a brake
	RunDown *float64 `json:"run_down"` // s by the stopwatch
	EndedMS int64    `json:"ended_ms"` // when the current ended, on the session's clock
	SpanMS  int64    `json:"span_ms"`  // length of the recording
}

// Proposal is what the file is to say of the machine, with the margins that make it.
type Proposal struct {
	RunningA   float64 `json:"running_a"`
	IdleA      float64 `json:"idle_a"`
	QuietA     float64 `json:"quiet_a"`
	RunDownS   float64 `json:"run_down_s"`
	BrakeS     float64 `json:"brake_s,omitempty"`
	RunMargin  float64 `json:"run_margin"`  // lowest running current / running threshold: 2 is twice as much
	IdleMargin float64 `json:"idle_margin"` // idle threshold / highest current of the standing machine
	Text       string  `json:"text"`        // the same in a sentence
}

// PlotPoint is one reading of the recording.
type PlotPoint struct {
	AtS      float64 `json:"t_s"`
	CurrentA float64 `json:"current_a"`
	Step     string  `json:"step"`
}

// JogSession is a gate being jogged.
type JogSession struct {
	Session  string    `json:"session"`
	Gate     string    `json:"gate"`
	ID       string    `json:"id"`
	Actuator string    `json:"actuator"` // chip and channel, or lines
	Kind     string    `json:"kind"`     // servo or motor
	Step     string    `json:"step"`     // caution, jog, done, ended
	Say      string    `json:"say"`
	Cautions []string  `json:"cautions"`
	PulseUS  int       `json:"pulse_us"` // sent last; 0: none yet
	On       bool      `json:"on"`       // pulses or power are on now
	Moves    bool      `json:"moves"`    // it is still on its way to where it was sent
	LeastUS  int       `json:"least_us"` // never driven beyond
	MostUS   int       `json:"most_us"`
	OpenUS   int       `json:"open_us"` // marked, else as the file says; 0: unknown
	ClosedUS int       `json:"closed_us"`
	Marked   []string  `json:"marked"`              // ends marked in this session
	TravelMS int64     `json:"travel_ms,omitempty"` // of a motor, timed
	Blade    *float64  `json:"blade"`               // only in a rehearsal: 0 closed to 1 open
	Findings []Finding `json:"findings"`
	Changes  []Change  `json:"changes"`
	Diff     string    `json:"diff"`
	Written  bool      `json:"written"`
}

// StepJog is the step in which a gate is jogged.
const StepJog = "jog"

// Change is one value of the shop file.
type Change struct {
	Path string `json:"path"` // machines[0].sensors[0].clamp.running
	To   string `json:"to"`
}
