package airflow

import "math"

// Mark says how a figure's source was read.
type Mark uint8

// The marks.
const (
	Read      Mark = iota // in the primary or official text
	Secondary             // in a page that quotes the primary
	Computed              // from the formula named
	Memory                // from memory, not checked
	Practice              // common practice, no source
	Given                 // by the person in the shop file
)

// String is the mark's word in reports.
func (m Mark) String() string {
	return [...]string{"read in the primary text", "read in a secondary page", "computed", "from memory", "common practice", "given"}[m]
}

// Coefficient is one default figure with its source and how far other sources lie from it.
type Coefficient struct {
	Kind     string
	Value    float64 // loss coefficient on the velocity pressure of its own duct; for a wall, roughness in m
	Friction float64 // walls only: factor on the friction as usually installed
	Source   string
	Mark     Mark
	Spread   float64 // nineteen of twenty draws lie between Value/Spread and Value*Spread
	Why      string  // where the spread comes from
}

// givenSpread is the spread of a coefficient that the person gave. Common practice.
const givenSpread = 1.15

const (
	smacna   = "SMACNA HVAC duct design, 4th ed., Table A-7, r/D 1.5"
	ashraeEr = "ASHRAE duct roughness table"
	acgih    = "ACGIH Industrial Ventilation, 24th ed., Fig. 3-16"
	crane    = "Crane TP-410, converging branch, one 100 mm branch alone into a 150 mm main"
	craneRun = "Crane TP-410, straight run, mean over branch shares from none to equal speeds, 100 mm into 150 mm"
	epanet   = "EPANET 2.2 user manual, minor losses (water pipe)"
	cones    = "Crane TP-410, cone between 100 mm and 150 mm, on the smaller pipe"
)

// fittings are the defaults by kind: one cited single value each.
var fittings = []Coefficient{
	{Kind: "elbow_90", Value: 0.24, Source: smacna + ", five pieces", Mark: Secondary, Spread: 1.5, Why: "0.15 die-stamped to 0.34 of three pieces in the same table"},
	{Kind: "elbow_90_smooth", Value: 0.15, Source: smacna + ", die-stamped", Mark: Secondary, Spread: 1.5, Why: "0.14 to 0.21 by diameter in ASHRAE F2009 CD3-1; 0.22 to 0.28 for smooth pipe by formula"},
	{Kind: "elbow_90_three_piece", Value: 0.34, Source: smacna + ", three pieces", Mark: Secondary, Spread: 1.3, Why: "ASHRAE CD3-12 has the same"},
	{Kind: "elbow_90_short", Value: 0.31, Source: "Rennels, smooth bend with r/D 1", Mark: Computed, Spread: 1.5, Why: "Ito 0.28, Crane 0.33; sheet-metal pieces are higher"},
	{Kind: "elbow_60", Value: 0.16, Source: smacna + ", five pieces, two thirds of it", Mark: Computed, Spread: 1.6, Why: "ASHRAE CD3-13 0.16 to 0.40 by diameter"},
	{Kind: "elbow_45", Value: 0.144, Source: smacna + ", five pieces, angle factor 0.60", Mark: Computed, Spread: 1.6, Why: "a plain half of the 90 degree value against 0.60; ASHRAE CD3-14 0.11 to 0.31"},
	{Kind: "elbow_30", Value: 0.08, Source: smacna + ", five pieces, a third of it", Mark: Computed, Spread: 1.7, Why: "no table read; as the 45 degree elbow"},
	{Kind: "mitre_90", Value: 1.2, Source: smacna + ", mitred", Mark: Secondary, Spread: 1.15, Why: "Rennels 1.20, Blevins 1.18, Miller 1.15, Crane 0.97"},
	{Kind: "mitre_45", Value: 0.304, Source: "Rennels, mitred bend", Mark: Computed, Spread: 1.2, Why: "Blevins 0.295, Miller 0.314, Crane 0.244"},
	{Kind: "branch_30", Value: 0.23, Source: crane, Mark: Computed, Spread: 1.5, Why: "0.34 at equal speeds by the same formula; 0.18 by another table, from memory"},
	{Kind: "branch_45", Value: 0.31, Source: crane, Mark: Computed, Spread: 1.5, Why: "0.42 at equal speeds by the same formula; 0.28 by another table, from memory"},
	{Kind: "branch_60", Value: 0.41, Source: crane, Mark: Computed, Spread: 1.5, Why: "0.52 at equal speeds by the same formula"},
	{Kind: "branch_90", Value: 0.66, Source: crane, Mark: Computed, Spread: 1.7, Why: "0.76 at equal speeds by the same formula; 1.8 for a water tee"},
	{Kind: "straight_30", Value: 0.19, Source: craneRun, Mark: Computed, Spread: 2, Why: "0 with the branch shut to 0.34, and below 0 at equal speeds, by the same formula"},
	{Kind: "straight_45", Value: 0.31, Source: craneRun, Mark: Computed, Spread: 2, Why: "0 with the branch shut to 0.46 by the same formula"},
	{Kind: "straight_60", Value: 0.45, Source: craneRun, Mark: Computed, Spread: 2, Why: "0 with the branch shut to 0.8 by the same formula"},
	{Kind: "straight_90", Value: 0.59, Source: craneRun, Mark: Computed, Spread: 2.5, Why: "0 with the branch shut to 1.6 by the same formula"},
	{Kind: "tee_branch", Value: 1.8, Source: epanet, Mark: Read, Spread: 2, Why: "0.66 by Crane's formula for one branch alone"},
	{Kind: "tee_run", Value: 0.6, Source: epanet, Mark: Read, Spread: 2, Why: "0.3 in other tables"},
	{Kind: "expansion", Value: 0.10, Source: cones + ", 0.2 m long", Mark: Computed, Spread: 1.5, Why: "Rennels 0.08, Idelchik 0.09; 0.05 when twice as long"},
	{Kind: "expansion_sudden", Value: 0.31, Source: "Borda (1 - (d/D)^2)^2 for 100 mm into 150 mm, on the smaller pipe", Mark: Computed, Spread: 1.3, Why: "depends on the two diameters"},
	{Kind: "reducer", Value: 0.11, Source: cones + ", 0.1 m long", Mark: Computed, Spread: 2, Why: "Rennels 0.04"},
	{Kind: "reducer_sudden", Value: 0.34, Source: "Hooper, 150 mm into 100 mm, on the smaller pipe", Mark: Computed, Spread: 1.25, Why: "Crane 0.28, Rennels 0.38"},
	{Kind: "gate", Value: 0.2, Source: epanet + ", gate valve fully open", Mark: Read, Spread: 3, Why: "Idelchik 9-6 has 0.05 for a gate in line, read in a secondary copy"},
	{Kind: "damper", Value: 0.45, Source: "ASHRAE 825-RP as coded in an open building model library, round damper fully open", Mark: Secondary, Spread: 1.5, Why: "0.2 to 0.5 in the same place"},
	{Kind: "cap", Value: 0.05, Source: "a capped side opening hardly turns the air", Mark: Practice, Spread: 3, Why: "no figure read"},
	{Kind: "cleanout", Value: 0.05, Source: "a closed lid in the wall hardly turns the air", Mark: Practice, Spread: 3, Why: "no figure read"},
	{Kind: "exit", Value: 1, Source: epanet + ", exit", Mark: Read, Spread: 1.05, Why: "the whole velocity pressure is lost"},
}

// hoods are the defaults of entries, on the velocity pressure of the duct behind them.
var hoods = []Coefficient{
	{Kind: "plain", Value: 0.93, Source: acgih + ", plain duct end", Mark: Secondary, Spread: 1.15, Why: "0.78 (Crane, re-entrant) to 0.93"},
	{Kind: "flanged", Value: 0.49, Source: acgih + ", flanged duct end", Mark: Secondary, Spread: 1.15, Why: "0.5 (Crane, flush), 0.57 (Rennels)"},
	{Kind: "bell", Value: 0.04, Source: acgih + ", bell mouth", Mark: Secondary, Spread: 3, Why: "0.12 to 0.45 for less rounding (Rennels)"},
	{Kind: "takeoff", Value: 0.65, Source: "29 CFR 1910.94(b), hood with a straight take-off", Mark: Read, Spread: 1.3, Why: "made for grinding wheels; machines differ"},
	{Kind: "tapered", Value: 0.45, Source: "29 CFR 1910.94(b), hood with a tapered take-off", Mark: Read, Spread: 1.3, Why: "ACGIH has 0.40"},
	{Kind: "orifice", Value: 1.78, Source: acgih + ", sharp-edged orifice", Mark: Secondary, Spread: 1.2, Why: "depends on the opening's size"},
}

// walls are the defaults of absolute roughness (m) and of the factor on the friction as installed.
var walls = []Coefficient{
	{Kind: "galvanized", Value: 0.15e-3, Friction: 1, Source: "EPANET 2.2 user manual, galvanized iron; lies within 3 % of the published friction charts", Mark: Read, Spread: 1.7, Why: "0.09 mm on average in the " + ashraeEr},
	{Kind: "spiral", Value: 0.09e-3, Friction: 1, Source: ashraeEr + ", galvanized spiral, geometric mean of 0.061 and 0.122 mm", Mark: Secondary, Spread: 1.5, Why: "the range itself"},
	{Kind: "steel", Value: 0.046e-3, Friction: 1, Source: ashraeEr + ", commercial steel", Mark: Secondary, Spread: 2, Why: "new to slightly rusted"},
	{Kind: "pvc", Value: 0.02e-3, Friction: 1, Source: ashraeEr + ", plastic, geometric mean of 0.009 and 0.046 mm", Mark: Secondary, Spread: 2.3, Why: "the range itself; EPANET has 0.0015 mm"},
	{Kind: "smooth_hose", Value: 0.29e-3, Friction: 2, Source: ashraeEr + ", flexible, fully extended, geometric mean of 0.09 and 0.91 mm; doubled for 15 to 30 % of slack, a weak source", Mark: Secondary, Spread: 2, Why: "Abushakra, Walker and Sherman (LBNL), in a secondary page: about 4 times when moderately compressed"},
	{Kind: "ribbed_hose", Value: 0.91e-3, Friction: 2, Source: ashraeEr + ", flexible, medium rough; doubled for 15 to 30 % of slack, a weak source", Mark: Secondary, Spread: 2, Why: "Abushakra, Walker and Sherman (LBNL), in a secondary page: 4 to 10 times when compressed"},
	{Kind: "compressed_hose", Value: 0.91e-3, Friction: 4, Source: "Abushakra, Walker and Sherman (LBNL): moderate compression costs about 4 times the stretched loss", Mark: Secondary, Spread: 2.5, Why: "10 times when compressed further, in the same place"},
}

// find looks a kind up: the person's own figure first, then the default.
func find(own map[string]float64, list []Coefficient, kind string) (Coefficient, bool) {
	if v, ok := own[kind]; ok {
		c := Coefficient{Kind: kind, Value: v, Friction: 1, Source: "shop file", Mark: Given, Spread: givenSpread, Why: "common practice for a figure of one's own"}
		for _, d := range list {
			if d.Kind == kind {
				c.Friction = d.Friction
			}
		}
		return c, true
	}
	for _, c := range list {
		if c.Kind == kind {
			return c, true
		}
	}
	return Coefficient{}, false
}

func (o *Own) fitting(kind string) (Coefficient, bool) { return find(o.Fittings, fittings, kind) }
func (o *Own) hood(kind string) (Coefficient, bool)    { return find(o.Hoods, hoods, kind) }
func (o *Own) wall(kind string) (Coefficient, bool)    { return find(o.Walls, walls, kind) }

// FittingLoss is the default coefficient of a kind of fitting, on the velocity pressure of the duct that lists
// it. A reducer or expansion is listed in the smaller of its two ducts; a branch in the duct that joins; the
// straight run past a branch in the duct upstream of the junction that goes straight on.
func FittingLoss(kind string) (Coefficient, bool) { return find(nil, fittings, kind) }

// HoodLoss is the default coefficient of a kind of hood, on the velocity pressure of the duct behind it.
func HoodLoss(kind string) (Coefficient, bool) { return find(nil, hoods, kind) }

// Wall is the default roughness (m) of a kind of wall, with the factor on its friction.
func Wall(kind string) (Coefficient, bool) { return find(nil, walls, kind) }

// FittingKinds, HoodKinds and WallKinds list the known kinds in the order of the tables.
func FittingKinds() []string { return kinds(fittings) }

// HoodKinds lists the known kinds of hood.
func HoodKinds() []string { return kinds(hoods) }

// WallKinds lists the known kinds of wall.
func WallKinds() []string { return kinds(walls) }

func kinds(list []Coefficient) []string {
	out := make([]string, len(list))
	for i, c := range list {
		out[i] = c.Kind
	}
	return out
}

// DefaultGap is the gap (m) around a closed gate's blade where none is given. No published leakage of closed
// blast gates was found; a hand-made gate with half a millimetre is common practice.
const DefaultGap = 0.5e-3

// GapLeak is the open area (m2) of a closed gate with a gap all around its blade: gap times circumference.
func GapLeak(diameter, gap float64) float64 { return math.Pi * diameter * gap }
