// Package airflow is the physics of one collector's duct tree: losses, fan, operating point, and the verdict
// on a pattern of open gates. It is pure. SI units throughout: m, m2, m3/s, m/s, Pa, kg/m3, Pa s. Floats stay
// inside; a verdict leaves it rounded once.
//
// The physics: total pressures on a tree from the room (0 Pa) to the fan's inlet. A duct loses (f L/D + sum of
// K) rho/2 V^2 on its own speed; a port loses its hood's coefficient on the velocity pressure of the duct behind
// it, each of several ports on a duct by its own flow; a closed gate lets nothing through, or what an orifice of
// its leak passes. The fan's static pressure at the shop's density, less filter, separator and exhaust, equals
// the total suction at its inlet. Losses behind the inlet count as given, in the shop's own air.
//
// Reading order: network.go (what is given), check.go (what is refused), compile.go and model.go (made ready),
// friction.go, law.go, fan.go, air.go, junction.go (formulas), coefficient.go, pipe.go, sources.go (figures and
// where they come from), links.go, solver.go (flows and pressures of one pattern), verdict.go, ratio.go, notes.go
// (judged), doubt.go (how sure), demands.go (which machines may run together), census.go, counter.go, operating.go,
// polynomial.go (every pattern at once), carrying.go (those that carry, in large trees).
package airflow

// Network is one collector with its ducts, as config builds it: plain data, checked by Compile.
type Network struct {
	Name      string // the collector's name
	Air       Air
	Transport Transport // the shop's default; a duct may have its own
	Fan       Fan
	Filter    Filter
	Separator Loss // separator ahead of the fan
	Exhaust   Loss // duct, silencer or weather cap behind the fan
	Outdoors  bool // discharge leaves the building
	Ducts     []Duct
	Ports     []Port // 64 at most
	Gates     []Gate
	Own       Own // coefficients that the person gave in place of the defaults
}

// Own holds the person's own coefficients, by kind. A kind that is not among them has its cited default.
type Own struct {
	Fittings map[string]float64 // loss coefficient on the duct's velocity pressure
	Hoods    map[string]float64 // loss coefficient on the duct's velocity pressure
	Walls    map[string]float64 // absolute roughness, m
}

// Air is the state of the shop's air.
type Air struct {
	Density   float64 // kg/m3
	Viscosity float64 // Pa s, dynamic
}

// Transport holds the air speeds that decide whether a duct carries.
type Transport struct {
	Carries float64 // m/s: at or above this (plus margin) chips keep moving
	Settles float64 // m/s: below this chips settle
	Margin  float64 // asked on top of Carries, a fraction (0.05 = 5 %)
}

// Fitting is a number of equal fittings in a duct, by the kind used in the shop file ("elbow_90").
type Fitting struct {
	Kind  string
	Count int
}

// Duct is one run of pipe of one inside diameter. Its loss is (f L/D + sum of K) rho/2 V^2 on its own velocity.
type Duct struct {
	Name      string
	Into      int        // index of the duct downstream, or -1: the collector's inlet
	Diameter  float64    // m, inside
	Length    float64    // m
	Roughness float64    // m, absolute; 0 with a Wall: the wall's default
	Wall      string     // kind of wall from the shop file ("galvanized", "smooth_hose"); names the source of Roughness
	Fittings  []Fitting  // resolved to coefficients by FittingLoss
	Loss      float64    // any further coefficient on this duct's own velocity pressure
	Friction  float64    // factor on the wall's friction (a compressed hose); 0 = the wall's default, 1 without a Wall
	Transport *Transport // nil: the network's
}

// Port is where air enters, at the upstream end of a duct. Several ports may enter one duct.
type Port struct {
	Name     string
	Duct     int     // index
	HoodLoss float64 // coefficient on the duct's velocity pressure; 0 with a Hood: the hood's default
	Hood     string  // kind of hood from the shop file ("plain"), "" when HoodLoss was given
	Airflow  float64 // m3/s that it wants; 0 = not stated
}

// Gate sits at the upstream end of a duct and shuts all that is behind it: the ports of that duct and every
// duct that flows into it.
type Gate struct {
	Name   string
	Number int     // place in the shop file: the gate's bit in a gates.Set
	Duct   int     // index
	Leak   float64 // m2 open area when closed; 0 = tight
	Hand   bool    // moved by hand: patterns are judged with it open and shut
	Relief Relief
}

// Relief says whether the planner may open a gate only for its air.
type Relief uint8

// The choices of relief.
const (
	ReliefAllowed Relief = iota
	ReliefPreferred
	ReliefNever
)

// PressureKind says what the fan's sheet plots.
type PressureKind uint8

// What a fan curve may state.
const (
	FanStatic   PressureKind = iota // outlet static less inlet total, the standard definition
	InletStatic                     // suction on the wall of the inlet pipe, at the given inlet diameter
	FanTotal                        // outlet total less inlet total
)

// Point is one point of a fan curve.
type Point struct{ Flow, Pressure float64 } // m3/s, Pa

// Fan is the fan's curve as its sheet gives it.
type Fan struct {
	Kind     PressureKind
	Inlet    float64 // m, inside diameter where the curve was measured
	Outlet   float64 // m, for FanTotal; 0 = Inlet
	Density  float64 // kg/m3 that the curve was measured in
	Straight bool    // straight lines between points, the last piece extended; else a monotone cubic
	Guess    bool    // from a nameplate's two numbers: wide spread, marked everywhere
	Curve    []Point // falling
	Includes Includes
	Power    []Point // flow in m3/s, motor power in W at the curve's density; empty = not known
	Motor    float64 // W that the motor is rated for; 0 = not stated
	Least    float64 // m3/s least flow; 0 = none stated
}

// Includes says which losses the fan's curve already contains.
type Includes struct{ Filter, Separator, Exhaust bool }

// Loss is a pressure loss Linear Q + Quadratic Q^2.
type Loss struct {
	Linear    float64 // Pa per m3/s
	Quadratic float64 // Pa per (m3/s)^2
}

// Filter is the filter's loss in its two states.
type Filter struct{ Clean, Loaded Loss }
