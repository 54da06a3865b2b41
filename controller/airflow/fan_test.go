package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The cubic goes through its points, never overshoots, and its slope is continuous.
func TestMonotoneCubic(t *testing.T) {
	pts := []Point{{0, 2900}, {0.3, 2700}, {0.55, 2150}, {0.78, 1300}, {0.94, 350}}
	c := newCurve(Fan{Density: 1.2, Curve: pts}, 1.2)
	for _, p := range pts {
		got, _ := c.at(p.Flow)
		assert.InDelta(t, p.Pressure, got, 1e-9)
	}
	last, _ := c.at(0)
	for q := 0.001; q < 1.2; q += 0.001 {
		p, slope := c.at(q)
		assert.Less(t, p, last)
		assert.LessOrEqual(t, slope, 0.0)
		up, _ := c.at(q + 1e-7)
		down, _ := c.at(q - 1e-7)
		assert.InDelta(t, (up-down)/2e-7, slope, 1e-3*math.Abs(slope)+1, "slope at %g", q)
		last = p
	}
}

// Slopes by hand for points at 0, 1, 3 with pressures 10, 8, 0: pieces -2 and -4, widths 1 and 2.
// Inside: weights 2*2+1 = 5 and 2+2*1 = 4, so 9/(5/-2 + 4/-4) = -18/7. Left end: ((2*1+2)*-2 - 1*-4)/3 = -4/3.
// Right end: ((2*2+1)*-4 - 2*-2)/3 = -16/3.
func TestMonotoneSlopesByHand(t *testing.T) {
	m := monotoneSlopes([]float64{0, 1, 3}, []float64{10, 8, 0})
	assert.InDeltaSlice(t, []float64{-4.0 / 3, -18.0 / 7, -16.0 / 3}, m, 1e-14)
	assert.Equal(t, []float64{-5, -5}, monotoneSlopes([]float64{0, 2}, []float64{10, 0}))
	// a level piece: no slope where it begins and ends
	m = monotoneSlopes([]float64{0, 1, 2, 3}, []float64{5, 5, 3, 0})
	assert.Zero(t, m[0])
	assert.Zero(t, m[1])
	// an end that would turn the wrong way is level, one that is too steep is cut
	assert.Zero(t, endSlope(1, 1, -1, -5))
	assert.Equal(t, -3.0, endSlope(1, 0.1, -1, 50))
}

// Straight lines: the last piece goes on beyond the last point, the first before the first.
func TestStraightLines(t *testing.T) {
	c := newCurve(Fan{Density: 1.2, Straight: true, Curve: []Point{{0.1, 100}, {0.2, 90}, {0.4, 30}}}, 1.2)
	for q, want := range map[float64]float64{0: 110, 0.15: 95, 0.3: 60, 0.5: 0, 0.6: -30} {
		p, _ := c.at(q)
		assert.InDelta(t, want, p, 1e-9, "at %g", q)
	}
	// the cubic goes on along its end tangents
	c = newCurve(Fan{Density: 1.2, Curve: []Point{{0.1, 100}, {0.2, 90}, {0.4, 30}}}, 1.2)
	p, slope := c.at(0.5)
	end, same := c.at(0.4)
	assert.InDelta(t, same, slope, 1e-9)
	assert.InDelta(t, end+0.1*slope, p, 1e-9)
	p, slope = c.at(0)
	first, _ := c.at(0.1)
	assert.InDelta(t, first-0.1*slope, p, 1e-9)
}

// Suction on the inlet's wall shows the inlet's velocity pressure on top; total pressure shows the outlet's.
func TestPressureKinds(t *testing.T) {
	pts := []Point{{0, 1000}, {0.5, 800}}
	a := math.Pi / 4 * 0.16 * 0.16
	v := 0.3 / a
	dyn := 1.2 / 2 * v * v
	sheet := 880.0
	at := func(f Fan, density float64) float64 {
		f.Curve, f.Straight, f.Density = pts, true, 1.2
		p, _ := newCurve(f, density).at2(0.3)
		return p
	}
	assert.InDelta(t, sheet, at(Fan{Kind: FanStatic, Inlet: 0.16}, 1.2), 1e-9)
	assert.InDelta(t, sheet-dyn, at(Fan{Kind: InletStatic, Inlet: 0.16}, 1.2), 1e-9)
	assert.InDelta(t, sheet-dyn, at(Fan{Kind: FanTotal, Inlet: 0.3, Outlet: 0.16}, 1.2), 1e-9)
	assert.InDelta(t, sheet-dyn, at(Fan{Kind: FanTotal, Inlet: 0.16}, 1.2), 1e-9, "no outlet given: as the inlet")
	// in thinner air everything goes with the density
	assert.InDelta(t, (sheet-dyn)*0.75, at(Fan{Kind: InletStatic, Inlet: 0.16}, 0.9), 1e-9)
}

func (c curve) at2(q float64) (float64, float64) { return c.at(q) }

// The measured suction on the inlet's wall, solved back: what the sheet says at that flow.
func TestInletStaticIsWhatATapWouldRead(t *testing.T) {
	n := onePipe(t, 0.16, 5, 0.15e-3, 1).net
	n.Fan = Fan{Kind: InletStatic, Inlet: 0.16, Density: 1.2, Straight: true, Curve: []Point{{0, 2000}, {0.6, 500}}}
	r := solved(t, n)
	// the duct is as wide as the inlet: its static pressure at the downstream end is the tap's
	assert.InDelta(t, 2000-1500*r.FanFlow/0.6, -r.Static[0], 1e-6)
}

// What the curve includes is not counted again; a loaded filter then costs the difference to the clean one.
func TestIncludes(t *testing.T) {
	n := onePipe(t, 0.16, 5, 0.15e-3, 1).net
	n.Separator, n.Exhaust = Loss{Quadratic: 400}, Loss{Quadratic: 100}
	n.Filter = Filter{Clean: Loss{Linear: 300, Quadratic: 50}, Loaded: Loss{Linear: 900, Quadratic: 150}}
	both := func(i Includes) (clean, loaded Loss) {
		n.Fan.Includes = i
		m, err := Compile(n)
		require.NoError(t, err)
		return m.clean, m.loaded
	}
	clean, loaded := both(Includes{})
	assert.Equal(t, Loss{300, 550}, clean)
	assert.Equal(t, Loss{900, 650}, loaded)
	clean, loaded = both(Includes{Separator: true, Exhaust: true})
	assert.Equal(t, Loss{300, 50}, clean)
	assert.Equal(t, Loss{900, 150}, loaded)
	clean, loaded = both(Includes{Filter: true})
	assert.Equal(t, Loss{0, 500}, clean)
	assert.Equal(t, Loss{600, 600}, loaded)
}

func TestLossAt(t *testing.T) {
	l := LossAt(0.5, 250, 0.7)
	assert.InDelta(t, 250, l.At(0.5), 1e-9)
	assert.InDelta(t, 0.7*250*2+0.3*250*4, l.At(1), 1e-9)
}

// A guess falls everywhere, has its top at no flow, and ends at no pressure.
func TestGuessCurve(t *testing.T) {
	pts := GuessCurve(2900, 0.97)
	assert.Equal(t, Point{0, 2900}, pts[0])
	assert.Equal(t, Point{0.97, 0}, pts[len(pts)-1])
	n := onePipe(t, 0.16, 5, 0.15e-3, 1).net
	n.Fan.Curve, n.Fan.Guess = pts, true
	_, err := Compile(n)
	assert.NoError(t, err)
}

func TestMotorAt(t *testing.T) {
	n := onePipe(t, 0.16, 5, 0.15e-3, 1).net
	m, err := Compile(n)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(m.MotorAt(0.2)))
	n.Fan.Power = []Point{{0.1, 800}, {0.3, 1600}}
	m, err = Compile(n)
	require.NoError(t, err)
	for q, want := range map[float64]float64{0: 800, 0.2: 1200, 0.5: 1600} {
		assert.InDelta(t, want, m.MotorAt(q), 1e-9)
	}
}
