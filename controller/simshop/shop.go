package simshop

import (
	"math"
	"time"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/starter/chargepump"
)

// quantum is the step in which things that move are moved. Between two steps everything stands still, so what a
// driver sees does not depend on who looked before.
const quantum = 5 * time.Millisecond

// supply is the voltage of the converters' boards, where the shop file states none.
const supply = 3.3

// Shop is the simulated shop. It belongs to one goroutine.
type Shop struct {
	file  *config.Shop
	clock func() time.Duration
	now   time.Duration // up to here everything that moves has been moved
	noise noise

	motors []motor // of each machine
	gates  []gate  // of each gate
	fans   []fan   // of each collector
	boards []*board
	wires  map[wireKey]*wire

	presses []press
	network *Network
	later   []event
	seq     int
}

// gate is a gate with its blade and what pushes it.
type gate struct {
	blade
	file   *config.Gate
	pulses func() time.Duration // width of the pulses that its servo gets; 0 = none
	open   *wire                // coil or motor relay towards open
	close  *wire
	active [2]bool // polarity: the level that means "on" is low
	remote int     // a node pushes it: +1 towards open, -1 towards closed

	shorted bool // both end switches show
}

// fan is a collector with its wheel and starter.
type fan struct {
	wheel
	file     *config.Collector
	motor    motor
	start    *wire // start line, or the start button of an existing starter
	stop     *wire
	low      [2]bool // active low
	latched  bool    // a starter with momentary buttons holds itself
	socket   bool    // a remote socket is on
	requests int     // that it has had
	solver   *airflow.Solver
	state    airflow.State
	pattern  uint64
	air      *airflow.Result // at full speed, for pattern and state
	plugged  []float64       // share of the flow that is left in each duct of a plug; nil: none
	noAir    bool            // bin open, hose off: nothing is drawn through the ducts
}

// press is a button held down by a finger.
type press struct {
	wire  *wire
	low   bool
	until time.Duration
}

// event is something that a script has put into the future.
type event struct {
	at  time.Duration
	seq int
	do  func()
}

// Options are what a shop file does not say.
type Options struct {
	Seed   uint64
	Mains  int64         // Hz; 0: 50, or 60 in a shop that shows US units
	Filter airflow.State // how loaded the filters are
	Gates  []float64     // where each gate's blade is at the beginning; nil: closed
}

// New builds the shop that a file describes, at rest: motors off, gates closed unless said otherwise. air holds
// each collector's model, nil where the air is not judged. clock is the scheduler's.
func New(file *config.Shop, air []*airflow.Model, clock func() time.Duration, o Options) *Shop {
	s := &Shop{file: file, clock: clock, noise: noise(mix(o.Seed)), wires: map[wireKey]*wire{}}
	if o.Mains == 0 {
		o.Mains = 50
		if file.Units == config.US {
			o.Mains = 60
		}
	}
	for _, c := range file.Chips {
		s.addBoard(c.Chip)
	}
	s.makeMachines(o)
	s.makeGates(o)
	s.makeFans(air, o)
	s.wireTaps()
	return s
}

// makeMachines gives each machine a motor that fits its clamp's thresholds.
func (s *Shop) makeMachines(o Options) {
	s.motors = make([]motor, len(s.file.Machines))
	for i := range s.file.Machines {
		m := &s.motors[i]
		*m = motor{full: 6, mains: o.Mains, runUp: runUp, phase: int64(steps * s.noise.unit(i))}
		for _, sensor := range s.file.Machines[i].Sensors {
			switch {
			case sensor.Clamp != nil:
				m.full = sensor.Clamp.Running * overRunning / idleShare
				s.attach(sensor.Clamp.Converter, source{amperes: m.amperes, scale: sensor.Clamp.Scale, bias: s.bias(sensor.Clamp.Converter)})
			case sensor.Contact != nil:
				s.drive(sensor.Contact.Line, func(time.Duration) bool { return m.on && !m.blown })
			case sensor.Button != nil:
				s.wire(sensor.Button.Line)
			}
		}
	}
}

// drive lets the shop decide an input line's active level.
func (s *Shop) drive(l config.Line, active func(time.Duration) bool) {
	s.wire(l).source = active
}

func (s *Shop) makeGates(o Options) {
	s.gates = make([]gate, len(s.file.Gates))
	for i := range s.file.Gates {
		g := &s.gates[i]
		g.file = &s.file.Gates[i]
		if i < len(o.Gates) {
			g.at = o.Gates[i]
		}
		a := g.file.Actuator
		switch {
		case a.Servo != nil:
			g.travel = a.Servo.Travel
			g.pulses = s.pulsesOf(a.Servo)
		case a.Relay != nil:
			g.travel = a.Relay.Travel
			g.open, g.close = s.wire(a.Relay.Open), s.wire(a.Relay.Close)
			g.active = [2]bool{a.Relay.Open.ActiveLow, a.Relay.Close.ActiveLow}
		case a.Remote != nil:
			g.travel = a.Remote.Travel
		case a.Hand != nil:
			s.ends(g, a.Hand.Open, a.Hand.Closed)
		}
		if g.file.Proof != nil {
			s.ends(g, g.file.Proof.Open, g.file.Proof.Closed)
		}
	}
}

// ends wires a gate's end switches.
func (s *Shop) ends(g *gate, open, closed *config.Line) {
	if open != nil {
		s.drive(*open, func(time.Duration) bool { return g.shorted || g.isOpen() })
	}
	if closed != nil {
		s.drive(*closed, func(time.Duration) bool { return g.shorted || g.isClosed() })
	}
}

func (s *Shop) makeFans(air []*airflow.Model, o Options) {
	s.fans = make([]fan, len(s.file.Collectors))
	for i := range s.file.Collectors {
		f, c := &s.fans[i], &s.file.Collectors[i]
		f.file, f.state = c, o.Filter
		f.spinUp, f.coast = c.Motor.SpinUp, c.Motor.Coast
		f.motor = motor{full: fullLoad(c.Motor), mains: o.Mains, runUp: c.Motor.SpinUp, phase: int64(steps * s.noise.unit(1000+i))}
		if c.Proof != nil && c.Proof.Clamp != nil {
			p := c.Proof.Clamp
			f.motor.full = max(f.motor.full, 2.5*p.Running)
			s.attach(p.Converter, source{amperes: f.amperes, scale: p.Scale, bias: s.bias(p.Converter)})
		}
		if c.Proof != nil && c.Proof.Contact != nil { // an auxiliary contact of the contactor
			s.drive(c.Proof.Contact.Line, func(time.Duration) bool { return f.powered })
		}
		if i < len(air) && air[i] != nil && air[i].Judged() {
			f.solver = airflow.NewSolver(air[i])
		}
		f.pattern = math.MaxUint64
		st := c.Starter
		switch {
		case st == nil:
		case st.Line != nil:
			f.start, f.low[0] = s.wire(*st.Line), st.Line.ActiveLow
			if st.Pulsed > 0 {
				f.start.pump = &chargepump.Pump{}
			}
		case st.Momentary != nil:
			f.start, f.low[0] = s.wire(st.Momentary.Start), st.Momentary.Start.ActiveLow
			f.stop, f.low[1] = s.wire(st.Momentary.Stop), st.Momentary.Stop.ActiveLow
		}
		if c.Filter != nil && c.Filter.Sensor != nil && c.Filter.Sensor.Line != nil {
			s.drive(*c.Filter.Sensor.Line, func(time.Duration) bool { return f.state > 0.5 && f.speed > 0.5 })
		}
	}
}

// fullLoad estimates the full-load current in amperes from a nameplate: 230 V single-phase at a power factor
// times efficiency of 0.7, 400 V three-phase at 0.68 (estimates for small motors, own choice).
func fullLoad(m config.Motor) float64 {
	switch {
	case m.Power <= 0:
		return 9
	case m.Phases == 3:
		return m.Power / (math.Sqrt(3) * 400 * 0.68)
	}
	return m.Power / (230 * 0.7)
}

// amperes is the fan motor's instantaneous current: inrush while the wheel is slow, then by the air it moves.
func (f *fan) amperes(now time.Duration) float64 {
	if !f.powered {
		return 0
	}
	work := 0.75 + 0.25*f.flowShare()
	rms := f.motor.full * (work + (inrushTimes-work)*(1-f.speed*f.speed))
	return rms * f.motor.wave(now)
}

// coil reports whether the collector's contactor is pulled in by the program's lines.
func (f *fan) coil(now time.Duration) bool {
	st := f.file.Starter
	switch {
	case st == nil:
		return false
	case st.Line != nil && st.Pulsed > 0:
		return f.start.pump.Holds(now)
	case st.Line != nil:
		return f.start.high != f.low[0]
	case st.Momentary != nil:
		if f.start.high != f.low[0] {
			f.latched = true
		}
		if f.stop.high != f.low[1] {
			f.latched = false
		}
		return f.latched
	}
	return f.socket
}
