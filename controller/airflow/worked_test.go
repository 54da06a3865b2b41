package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// level is a fan that holds a flow within a hair: it falls from no pressure limit to nothing around q.
func level(q float64) []Point {
	return []Point{{0, 4e3}, {q * (1 - 1e-8), 4e3}, {q * (1 + 1e-8), 0}}
}

// tee is three ducts of 0.1 m2 without friction at a junction, each way's losses as given.
func tee(main, left, right float64, air Air, curve []Point) Network {
	d := math.Sqrt(0.1 * 4 / math.Pi)
	return Network{
		Name: "collector", Air: air, Transport: Transport{Carries: 2, Settles: 1},
		Fan: Fan{Density: air.Density, Straight: true, Curve: curve},
		Ducts: []Duct{
			{Name: "main", Into: -1, Diameter: d, Length: 1e-9, Loss: main},
			{Name: "left", Into: 0, Diameter: d, Length: 1e-9, Loss: left},
			{Name: "right", Into: 0, Diameter: d, Length: 1e-9, Loss: right},
		},
		Ports: []Port{{Name: "left", Duct: 1}, {Name: "right", Duct: 2}},
	}
}

func solved(t *testing.T, n Network) *Result {
	t.Helper()
	m, err := Compile(n)
	require.NoError(t, err)
	r := NewSolver(m).Solve(m.Gates(), Clean)
	require.True(t, r.Converged)
	return r
}

// Three 0.1 m2 ducts at a tee, 0.3 m3/s, coefficients 16 and 4: 3, 1 and 2 m/s.
// Source: NIST SP 1018 (FDS verification guide), HVAC_flow_loss. Printed values reproduced.
func TestWorkedTeeFlowLoss(t *testing.T) {
	r := solved(t, tee(0, 16, 4, Air{Density: 1.2, Viscosity: 1.8e-5}, level(0.3)))
	assert.InDelta(t, 3, r.Velocity[0], 1e-6)
	assert.InDelta(t, 1, r.Velocity[1], 1e-6)
	assert.InDelta(t, 2, r.Velocity[2], 1e-6)
}

// The same tee with junction losses 15 and 3 and one velocity head more at each end.
// Source: NIST SP 1018, HVAC_tee_loss (the direction in which air is drawn). Printed values reproduced.
func TestWorkedTeeLoss(t *testing.T) {
	n := tee(0, 15, 3, Air{Density: 1.2, Viscosity: 1.8e-5}, level(0.3))
	n.Ports[0].HoodLoss, n.Ports[1].HoodLoss = 1, 1
	r := solved(t, n)
	assert.InDelta(t, 3, r.Velocity[0], 1e-6)
	assert.InDelta(t, 1, r.Velocity[1], 1e-6)
	assert.InDelta(t, 2, r.Velocity[2], 1e-6)
}

// sample7 is ASHRAE's sample problem 7, an exhaust system with a dust collector, in coefficients only, as
// NIST's fire model verification suite carries it (firemodels/fds, Verification/HVAC, ashrae7).
func sample7(curve []Point, straight bool) Network {
	area := []float64{0.032429, 0.012668, 0.012668, 0.024829, 0.061312, 0.061312, 0.085634, 0.099315}
	k := []float64{1.70, 1.46, 1.46, 0.87, 0.37, 2.2267, 0.19, 2.53}
	names := []string{"1", "2", "3", "4", "5", "56", "6", "7"}
	into := []int{4, 3, 3, 4, 5, 6, 7, -1}
	n := Network{
		Name: "collector", Air: Air{Density: 1.2041, Viscosity: 1.82e-5}, Transport: Transport{Carries: 20, Settles: 15},
		Fan: Fan{Density: 1.2041, Straight: straight, Curve: curve},
	}
	for i := range area {
		// a length of next to nothing: the verification cases have no friction, and with a smooth wall's they
		// no longer meet the printed pressures (2328 Pa in all)
		n.Ducts = append(n.Ducts, Duct{Name: names[i], Into: into[i], Diameter: math.Sqrt(area[i] * 4 / math.Pi), Length: 1e-9, Loss: k[i]})
	}
	for i := range 3 {
		n.Ports = append(n.Ports, Port{Name: names[i], Duct: i})
	}
	return n
}

// Fixed flow 1.45 m3/s: pressures to 3 % of the printed column, 0.1 % of the recomputed one. The printed
// pressures of ducts 6 and 7 lie 2.1 and 2.5 % below what their own inputs give: they fit 1.435 m3/s.
func TestWorkedASHRAESampleProblem7(t *testing.T) {
	r := solved(t, sample7(level(1.45), true))
	printed := []float64{739, 458, 458, 281, 124, 746, 32, 318}
	recomputed := []float64{740.5, 457.0, 457.0, 283.6, 124.6, 749.8, 32.8, 324.7}
	n := sample7(nil, true)
	for i := range printed {
		down := r.InletTotal
		if d := n.Ducts[i].Into; d >= 0 {
			down = r.Total[d]
		}
		drop := r.Total[i] - down
		assert.InEpsilon(t, printed[i], drop, 0.03, "duct %s", n.Ducts[i].Name)
		assert.InEpsilon(t, recomputed[i], drop, 2e-3, "duct %s, printed to four digits", n.Ducts[i].Name)
		if i < 4 || i == 5 || i == 7 {
			assert.InEpsilon(t, recomputed[i], drop, 1e-3, "duct %s", n.Ducts[i].Name)
		}
	}
	assert.InEpsilon(t, 0.8723, r.Flow[0], 1e-4)
	assert.InEpsilon(t, 0.2888, r.Flow[1], 2e-4)
	assert.InEpsilon(t, 1972.4, -r.InletTotal, 1e-3) // printed 1959
}

// The same ducts on a fan of 3000 (1 - (Q/2.4094)^2) Pa. Printed 1.45 m3/s and 1913.5 Pa, which is the curve at
// exactly 1.45 and not the operating point: recomputed 1.43597 m3/s and 1934.4 Pa.
func TestWorkedOperatingPointOnAParabola(t *testing.T) {
	var pts []Point
	for i := range 401 {
		q := 2.4094 * float64(i) / 400
		pts = append(pts, Point{q, 3000 * (1 - (q/2.4094)*(q/2.4094))})
	}
	r := solved(t, sample7(pts, false))
	assert.InEpsilon(t, 1.43597, r.FanFlow, 1e-5)
	assert.InEpsilon(t, 1934.4, r.FanPressure, 1e-4)
	assert.InEpsilon(t, 1.45, r.FanFlow, 0.01)
	assert.InEpsilon(t, 1913.5, r.FanPressure, 0.012)
	m, err := Compile(sample7(pts, false))
	require.NoError(t, err)
	assert.InDelta(t, 1913.5, m.FanStaticAt(1.45), 0.05)
}

// The table of the same fan, straight lines between its points: 1.43453 m3/s, 1930.5 Pa.
func TestWorkedOperatingPointOnATable(t *testing.T) {
	table := []Point{{0, 3000}, {.9836, 2500}, {1.3911, 2000}, {1.7037, 1500}, {1.9673, 1000}, {2.1995, 500}, {2.4094, 0}}
	r := solved(t, sample7(table, true))
	assert.InEpsilon(t, 1.43453, r.FanFlow, 1e-5)
	assert.InEpsilon(t, 1930.5, r.FanPressure, 1e-4)
	// the cubic through the same points comes closer to the parabola that they lie on
	c := solved(t, sample7(table, false))
	assert.Less(t, math.Abs(c.FanFlow-1.43597), math.Abs(r.FanFlow-1.43597))
}

// A fan of 0.16 m3/s and 10 Pa, parabola, on 0.04 m2 with coefficient 10, 1.1640 kg/m3: 0.0498253 m3/s at
// 9.0303 Pa over the fan. Source: NIST FDS verification, fan_test (prints half of it each way, 4.51513 Pa).
// At 1.2 kg/m3: 0.049144 m3/s, 9.0566 Pa.
func TestWorkedFanTest(t *testing.T) {
	for _, v := range []struct{ rho, q, p float64 }{{1.1640, .0498253, 9.0303}, {1.2, .049144, 9.0566}} {
		var pts []Point
		for i := range 2001 {
			q := 0.16 * float64(i) / 2000
			pts = append(pts, Point{q, 10 * (1 - (q/0.16)*(q/0.16))})
		}
		n := Network{
			Name: "collector", Air: Air{Density: v.rho, Viscosity: 1.8e-5}, Transport: Transport{Carries: 1, Settles: 1},
			Fan:   Fan{Density: v.rho, Curve: pts},
			Ducts: []Duct{{Name: "duct", Into: -1, Diameter: math.Sqrt(0.04 * 4 / math.Pi), Length: 1e-9, Loss: 10}},
			Ports: []Port{{Name: "port"}},
		}
		r := solved(t, n)
		assert.InEpsilon(t, v.q, r.FanFlow, 1e-5)
		assert.InEpsilon(t, v.p, r.FanPressure, 1e-5)
	}
}

// A leak of 0.01 m2 passes 0.01 m3/s at 1.22 Pa with a discharge coefficient of 0.7 (1.2245 recomputed).
// Source: NIST CFAST verification. Ours is 0.6, so the area is set for the same product.
func TestWorkedLeak(t *testing.T) {
	n := Network{
		Name: "collector", Air: Air{Density: 1.2, Viscosity: 1.8e-5}, Transport: Transport{Carries: 1, Settles: 1},
		Fan:   Fan{Density: 1.2, Straight: true, Curve: level(0.01)},
		Ducts: []Duct{{Name: "duct", Into: -1, Diameter: 0.5, Length: 1e-9}},
		Ports: []Port{{Name: "port"}},
		Gates: []Gate{{Name: "gate", Leak: 0.01 * 0.7 / 0.6}},
	}
	m, err := Compile(n)
	require.NoError(t, err)
	r := NewSolver(m).Solve(0, Clean)
	assert.InEpsilon(t, 1.2245, -r.InletTotal, 1e-4)
	assert.InDelta(t, 1.22, -r.InletTotal, 5e-3)
}

// The rule of the trade for balancing a branch, Q' = Q sqrt(SP'/SP): 1500 cfm at 1 in becomes 3000 cfm at 4 in.
// Source: hygienists' exam equation sheet, Eq. 16 (secondary). In the model it is the closed form
// of a duct without friction.
func TestWorkedFlowGoesWithTheRootOfSuction(t *testing.T) {
	at := func(suction float64) float64 {
		n := sample7([]Point{{0, suction}, {90, suction}}, true)
		n.Ducts = n.Ducts[:1]
		n.Ducts[0].Into, n.Ports = -1, n.Ports[:1]
		return solved(t, n).FanFlow
	}
	assert.InEpsilon(t, 3000.0/1500, at(4*inWG)/at(1*inWG), 1e-9)
}

// Two streams join: 200 cfm at 1.5 in and 300 cfm at 2.0 in of velocity pressure make 1.8 in together.
// Source: the same sheet, Eq. 12. It is a flow-weighted mean, which total pressure at a node does not need:
// kept as a check of the words.
func TestWorkedResultingVelocityPressure(t *testing.T) {
	assert.InDelta(t, 1.8, 200.0/500*1.5+300.0/500*2, 1e-12)
}

// Hoods: static suction behind a hood is (1 + loss) velocity pressures, and the coefficient of entry is
// 1/sqrt(1 + loss). Sources: the same sheet and its exam problems (secondary); printed values beside.
func TestWorkedHoods(t *testing.T) {
	behind := func(vp, loss float64) float64 { // inches in, inches out, by the model
		air := Air{Density: 1.2, Viscosity: 1.8e-5}
		q := air.SpeedAt(vp*inWG) * math.Pi / 4 * 0.04
		n := Network{
			Name: "collector", Air: air, Transport: Transport{Carries: 1, Settles: 1}, Fan: Fan{Density: 1.2, Straight: true, Curve: level(q)},
			Ducts: []Duct{{Name: "duct", Into: -1, Diameter: 0.2, Length: 1e-9}}, Ports: []Port{{Name: "port", HoodLoss: loss}},
		}
		return solved(t, n).PortSuction[0] / inWG
	}
	assert.InDelta(t, 3.2, behind(2, 0.6), 1e-5)              // printed -3.2
	assert.InDelta(t, 0.465, behind(0.5, 0.93)-0.5, 5e-5)     // plain end: the loss alone, printed 0.47
	assert.InDelta(t, 3.47, behind(3.2, 1/0.96/0.96-1), 5e-3) // C_e 0.96, printed 3.47
	assert.InDelta(t, 2.17, 2.56*0.92*0.92, 5e-3)             // backwards from 2.56 in with C_e 0.92
	assert.InDelta(t, 0.7071, math.Sqrt(0.4/0.8), 1e-4)       // printed 0.7
	for kind, entry := range map[string]float64{"plain": 0.720, "flanged": 0.819, "bell": 0.981, "takeoff": 0.778, "orifice": 0.600} {
		c, ok := HoodLoss(kind)
		require.True(t, ok)
		assert.InDelta(t, entry, 1/math.Sqrt(1+c.Value), 1e-3, kind)
	}
}

// Flow from a hood's static suction, Q = C_e A sqrt(2 SP/rho).
func TestWorkedHoodFlow(t *testing.T) {
	v := func(sp, ce, df float64) float64 { return 4005 * ce * math.Sqrt(sp/df) } // fpm
	assert.InDelta(t, 1538.6, 0.196*v(4, 0.98, 1), 0.1)                           // printed 1539 cfm
	assert.InDelta(t, 818.1, math.Pi/4*0.25*v(1.69, 0.78, 0.95), 0.6)             // printed 820 acfm
	// The same problem in SI prints 14.9 m3/s: square feet were used as square metres. Right is 1.381.
	air := Air{Density: 1.2014}
	q := 0.98 * 0.196 * 0.3048 * 0.3048 * air.SpeedAt(3600)
	assert.InDelta(t, 1.381, q, 2e-3)
	assert.InDelta(t, 14.9, 0.98*0.196*air.SpeedAt(3600), 0.1)
}

// Speeds from velocity pressures, and continuity.
func TestWorkedSpeeds(t *testing.T) {
	assert.InDelta(t, 38.7, 1.29*math.Sqrt(900), 0.01)
	assert.InDelta(t, 38.7, Air{Density: 1.2014}.SpeedAt(900), 0.05)
	assert.InDelta(t, 8010, 4005*math.Sqrt(4), 0.01)
	assert.InDelta(t, 7108.17, 4005*math.Sqrt(3.15), 0.01)
	assert.InDelta(t, 3727.02, 4005*math.Sqrt(2.20/2.54), 0.5)
	assert.InDelta(t, 18.93, 3727.02*fpm, 5e-3) // printed 18.94
	assert.InDelta(t, 50, 200*(6.0/12)*(6.0/12), 1e-12)
	assert.InDelta(t, 64583.46, 1.5/0.3048/0.3048*4000, 0.1)
	assert.InDelta(t, 29664.3, 350*60/(25*0.3048*0.3048)/0.3048, 1)
	assert.InDelta(t, 3571, 50000/(4*3.5), 0.5)                                                               // EPA BCES module 2
	assert.InDelta(t, 1268.6, 1650/(4*3.5*0.3048*0.3048), 0.5)                                                // printed 1269 m/min
	assert.InDelta(t, 2828, 35000*(460.0+250)/528*407/(397-10)/(5*3.5), 2)                                    // the same
	assert.InDelta(t, -1.50, -3.5+2, 1e-12)                                                                   // TP = SP + VP
	assert.InDelta(t, 4.2, Air{Density: 1.2}.VelocityPressure(4)-Air{Density: 1.2}.VelocityPressure(3), 1e-9) // regain, CIBSE Journal, Aug 2011
	assert.InDelta(t, 1.2, 0.5*Air{Density: 1.2}.VelocityPressure(2), 1e-9)                                   // the same
	assert.InDelta(t, 686.25, 4.5/4*610, 1e-9)                                                                // MIOSH, printed 686 (690)
}

// A whole velocity-pressure sheet: 1500 cfm in 8 in, hood 0.49 and one more head, 35 ft. The printed friction,
// 1.0640, should be 1.057 (0.0302 per ft and head); the total is right with the printed term.
func TestWorkedVelocityPressureSheet(t *testing.T) {
	v := 1500 / (math.Pi / 4 * 64 / 144)
	assert.InDelta(t, 4297, v, 0.5)
	vp := v / 4005 * v / 4005
	assert.InDelta(t, 1.15, vp, 2e-3)
	assert.InDelta(t, 1.057, 35*0.0302, 1e-3)
	// ours, galvanized 0.15 mm, lies 10 % below that sheet's friction, computed beside the chart fits
	d := 8 * inch
	f := FrictionFactor(v*fpm*d/1.51e-5, 0.15e-3/d) * 35 * 0.3048 / d
	assert.InEpsilon(t, 1.057, f, 0.12)
	assert.InDelta(t, 3.087, (0.49+1+1.0640+0.13)*vp, 5e-3)
}

// Fan laws: a curve carried to a thinner, faster state. Source: ORNL AMO tools, fan unit test (they add
// compressibility, 0.04 % at most): (14410, 22.5, 154) becomes (14500.854, 24.5509, 169.034); the plain laws give
// 14495.48, 24.5419, 168.972. And Crane TP-410 page 7-33: 400 gpm, 126 ft, 17.5 hp from 3500 to 1700 rpm.
func TestWorkedFanLaws(t *testing.T) {
	q, p, w := FanLaws(14410, 22.5, 154, 1187.0/1180, 0.0332/0.0308)
	assert.InEpsilon(t, 14495.48, q, 1e-6)
	assert.InEpsilon(t, 24.5419, p, 1e-5)
	assert.InEpsilon(t, 168.972, w, 1e-5)
	assert.InEpsilon(t, 14500.854, q, 4e-4)
	assert.InEpsilon(t, 24.5509, p, 4e-4)
	assert.InEpsilon(t, 169.034, w, 4e-4)
	q, p, w = FanLaws(400, 126, 17.5, 1700.0/3500, 1)
	assert.InDelta(t, 194.29, q, 5e-3)
	assert.InDelta(t, 29.73, p, 5e-3)
	assert.InDelta(t, 2.005, w, 5e-4)
}

// Thinner air on the same fan: in a shop of quadratic losses the flow is the same, pressures and power go with
// the density.
func TestDensityChangesPressuresNotFlow(t *testing.T) {
	curve := []Point{{0, 2000}, {0.2, 1800}, {0.5, 900}, {0.8, 0}}
	n := tee(1, 2, 3, Air{Density: 1.2, Viscosity: 1.8e-5}, curve)
	n.Fan.Power = []Point{{0, 500}, {1, 2500}}
	thick := *solved(t, n)
	flow, pressure, power := thick.FanFlow, thick.FanPressure, thick.MotorPower
	n.Air.Density = 0.9
	thin := solved(t, n)
	assert.InEpsilon(t, flow, thin.FanFlow, 1e-7)
	assert.InEpsilon(t, pressure*0.75, thin.FanPressure, 1e-7)
	assert.InEpsilon(t, power*0.75, thin.MotorPower, 1e-7)
}

// Heating the air at constant flow: 1.8 kW of shaft power at 20 degrees C become 1.685 at 40. Source: Stoecker,
// in a worked solution (secondary).
func TestWorkedPowerGoesWithDensity(t *testing.T) {
	_, _, w := FanLaws(1, 1, 1.8, 1, Density(101325, 40)/Density(101325, 20))
	assert.InDelta(t, 1.685, w, 1e-3)
}

// Crane's junction formula: the values of the fluids library, and Crane TP-410 example 7-35 (300 gpm run, 100 gpm
// branch, 4 in tee at 90 degrees): branch -0.0421875, run 0.325. Crane itself prints -0.04026.
func TestWorkedJunction(t *testing.T) {
	for _, v := range []struct{ share, angle, branch, run float64 }{
		{0.25, 30, -0.1156, 0.3288}, {0.25, 45, -0.1017, 0.3494}, {0.25, 90, -0.0422, 0.3250}, {0.5, 30, 0.1733, 0.3150},
		{0.5, 45, 0.2186, 0.3975}, {0.5, 60, 0.2750, 0.5000}, {0.5, 90, 0.4125, 0.5250},
	} {
		b, r := Junction(v.share, 1, v.angle)
		assert.InDelta(t, v.branch, b, 5.1e-5, "%g at %g", v.share, v.angle)
		assert.InDelta(t, v.run, r, 5.1e-5, "%g at %g", v.share, v.angle)
	}
	b, r := Junction(100.0/400, 1, 90)
	assert.InDelta(t, -0.0421875, b, 1e-9)
	assert.InDelta(t, 0.325, r, 1e-9)
	// 45 degrees, share 0.7, area 0.5: 0.769 and -0.472; another published source, after Legg 2017, has 1.503 and
	// -0.4286 for the same: a factor of two is the state of the art.
	b, r = Junction(0.7, 0.5, 45)
	assert.InDelta(t, 0.769, b, 5e-4)
	assert.InDelta(t, -0.472, r, 5e-4)
}

// A junction with a negative coefficient on the straight run: its loss still rises because the friction is
// larger, and the solution is that of the plain sums.
func TestNegativeCoefficient(t *testing.T) {
	n := tee(0, 4, -0.3, Air{Density: 1.2, Viscosity: 1.8e-5}, level(0.3))
	n.Ports[1].HoodLoss = 4.3
	n.Ducts[2].Length, n.Ducts[2].Roughness = 20, 1e-3
	r := solved(t, n)
	f := FrictionFactor(1.2*r.Velocity[2]*n.Ducts[2].Diameter/1.8e-5, 1e-3/n.Ducts[2].Diameter)
	k := f*20/n.Ducts[2].Diameter + 4
	assert.InEpsilon(t, math.Sqrt(4/k), r.Velocity[2]/r.Velocity[1], 1e-9)

	n.Ducts[2].Length = 0.1
	_, err := Compile(n)
	assert.ErrorContains(t, err, `duct "right"`)
	assert.ErrorContains(t, err, "would fall with a rising flow")
}

// Continuity alone decides most patterns: one branch at 20 m/s in a wider main, n d^2/D^2 of it.
func TestWorkedContinuity(t *testing.T) {
	for _, v := range []struct {
		count    int
		branch   float64
		main     float64
		mainFlow float64
	}{{1, 4, 6, 8.89}, {2, 4, 6, 17.78}, {3, 4, 6, 26.67}, {1, 5, 6, 13.89}, {1, 6, 8, 11.25}, {2, 6, 8, 22.50}} {
		n := Network{
			Name: "collector", Air: Air{Density: 1.2, Viscosity: 1.8e-5}, Transport: Transport{Carries: 20, Settles: 15},
			Fan:   Fan{Density: 1.2, Straight: true, Curve: level(float64(v.count) * 20 * math.Pi / 4 * v.branch * inch * v.branch * inch)},
			Ducts: []Duct{{Name: "main", Into: -1, Diameter: v.main * inch, Length: 3, Roughness: 0.15e-3}},
		}
		for i := range v.count {
			n.Ducts = append(n.Ducts, Duct{Name: "branch", Into: 0, Diameter: v.branch * inch, Length: 2, Roughness: 0.15e-3})
			n.Ports = append(n.Ports, Port{Name: "port", Duct: i + 1, HoodLoss: 0.5})
		}
		r := solved(t, n)
		assert.InDelta(t, v.mainFlow, r.Velocity[0], 6e-3)
		assert.InDelta(t, 20, r.Velocity[1], 1e-6)
	}
}

// The starts of a motor: 122 against 50 lb ft2 at 25 hp and four poles make 2.44 an hour. Source: NEMA MG 10 in
// a repairers' copy. The budget itself is kept elsewhere.
func TestWorkedStarts(t *testing.T) { assert.InDelta(t, 2.44, 122.0/50, 1e-12) }

// The fan turns with every gate shut: at its shutoff when tight, and it converges.
func TestNoOpenGate(t *testing.T) {
	n := sample7([]Point{{0, 2500}, {1, 2000}, {2.4, 0}}, true)
	for i := range n.Ports {
		n.Gates = append(n.Gates, Gate{Name: n.Ports[i].Name, Number: i, Duct: i})
	}
	m, err := Compile(n)
	require.NoError(t, err)
	r := NewSolver(m).Solve(0, Clean)
	assert.True(t, r.Converged)
	assert.Zero(t, r.FanFlow)
	assert.Equal(t, 2500.0, r.FanPressure)
	assert.Equal(t, -2500.0, r.InletTotal)
	assert.Equal(t, -2500.0, r.Static[0])
	assert.Zero(t, r.PortSuction[0])

	for i := range n.Gates {
		n.Gates[i].Leak = 1e-5
	}
	m, err = Compile(n)
	require.NoError(t, err)
	r = NewSolver(m).Solve(gates.Set(0), Clean)
	assert.True(t, r.Converged)
	// three orifices in parallel at almost the whole shutoff
	assert.InEpsilon(t, 3*0.6*1e-5*math.Sqrt(2*2500/1.2041), r.FanFlow, 1e-3)
}

// A chart's fit: Wright's 2.74 (V/1000)^1.9 / D^1.22 in 54.33 in at 4000 fpm is 0.2917 in per 100 ft, printed .29.
// Source: hygienists' exam problems (secondary). Colebrook with 0.15 mm lies 1 to 3 % below the fit in small ducts
// and within a tenth here, far beyond a shop's.
func TestWorkedFrictionChart(t *testing.T) {
	wright := 2.74 * math.Pow(4, 1.9) / math.Pow(54.33, 1.22)
	assert.InDelta(t, 0.2917, wright, 1e-4)
	assert.InDelta(t, 0.29, wright, 5e-3)
	d, v := 54.33*inch, 4000*fpm
	f := FrictionFactor(v*d/1.51e-5, 0.15e-3/d) * 100 * 0.3048 / d
	assert.InEpsilon(t, wright*inWG, f*Air{Density: 1.2014}.VelocityPressure(v), 0.1)
}

// 390 cfm in 4 in: 4467 fpm and 1.24 in of velocity pressure printed, 4469 and 1.245 computed (the printed area,
// .0870 ft2, is cut short); 1.65 of it is 2.046 in. Source: a worked sheet (secondary).
func TestWorkedFourInchBranch(t *testing.T) {
	area := math.Pi / 4 * 16 / 144
	v := 390 / area
	assert.InDelta(t, 0.0870, area, 5e-4)
	assert.InDelta(t, 4469, v, 1)
	assert.InDelta(t, 4467, v, 3)
	vp := v / 4005 * v / 4005
	assert.InDelta(t, 1.245, vp, 1e-3)
	assert.InDelta(t, 2.046, 1.65*1.24, 1e-9)
	assert.InEpsilon(t, 2.046, 1.65*vp, 5e-3)
}

// The other direction of the tee: air that a fan drives out through the same losses splits as air that is drawn in,
// for the losses are on each duct's own speed. Source: NIST SP 1018, HVAC_tee_loss. The model only draws; what is
// tested is that neither the sign of the pressure nor its level matters to the split.
func TestWorkedTeeLossTheOtherWay(t *testing.T) {
	for _, scale := range []float64{0.1, 1, 3} {
		n := tee(0, 15, 3, Air{Density: 1.2, Viscosity: 1.8e-5}, level(0.3*scale))
		n.Ports[0].HoodLoss, n.Ports[1].HoodLoss = 1, 1
		r := solved(t, n)
		assert.InDelta(t, 2, r.Velocity[2]/r.Velocity[1], 1e-6)
		assert.InDelta(t, 3*scale, r.Velocity[0], 1e-6)
	}
}
