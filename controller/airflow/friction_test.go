package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Colebrook solved by an independent library (fluids 1.3.1), eight digits.
func TestFrictionFactorVectors(t *testing.T) {
	for _, v := range []struct{ re, relative, f float64 }{
		{1e5, 1e-4, 0.018513866},
		{1e5, 1e-3, 0.022174536},
		{5e4, 1e-3, 0.024020784},
		{1.4e5, 9e-4, 0.021175653},
		{2e5, 6e-4, 0.019313768},
		{1e4, 0, 0.030882950},
	} {
		assert.InEpsilon(t, v.f, FrictionFactor(v.re, v.relative), 1e-6, "Re %g, e/D %g", v.re, v.relative)
	}
}

// The equation itself, over everything that occurs.
func TestFrictionFactorSolvesColebrook(t *testing.T) {
	for _, relative := range []float64{0, 1e-6, 1e-4, 1e-3, 1e-2, 0.05, 0.2} {
		for re := 4000.0; re < 1e8; re *= 1.7 {
			x := 1 / math.Sqrt(FrictionFactor(re, relative))
			assert.InDelta(t, x, -2*math.Log10(relative/3.7+2.51*x/re), 1e-11*x, "Re %g, e/D %g", re, relative)
		}
	}
}

// 64/Re below 2000 (EPANET 2.2 user manual), straight in Re to Colebrook at 4000, no jump anywhere.
func TestFrictionFactorBelowTurbulence(t *testing.T) {
	assert.Equal(t, 0.064, FrictionFactor(1000, 1e-3))
	assert.Equal(t, 0.032, FrictionFactor(2000, 1e-3))
	four := FrictionFactor(4000, 1e-3)
	assert.InDelta(t, (0.032+four)/2, FrictionFactor(3000, 1e-3), 1e-15)
	assert.InDelta(t, 0.032, FrictionFactor(2000.0001, 1e-3), 1e-8)
	assert.InDelta(t, four, FrictionFactor(3999.9999, 1e-3), 1e-8)
	assert.True(t, math.IsInf(FrictionFactor(0, 1e-3), 1))
}

// The published all-regime fit of EPANET (Swamee and Jain) lies within 1 % of Colebrook here, the friction
// charts within a few: a slip in the formula would show.
func TestFrictionFactorAgainstSwameeJain(t *testing.T) {
	for _, v := range []struct{ re, relative, f float64 }{
		{1e5, 1e-3, 0.022342412}, {5e4, 1e-3, 0.024180902}, {2e5, 6e-4, 0.019441320},
	} {
		assert.InEpsilon(t, v.f, FrictionFactor(v.re, v.relative), 0.01)
	}
}

// Computed friction in inches of water per 100 ft for galvanized pipe, 4 and 8 in (nu 1.51e-5 m2/s, rho 1.2014).
func TestFrictionPerLength(t *testing.T) {
	for _, v := range []struct{ inches, cfm, rough, want float64 }{
		{4, 350, 0.0003, 6.371}, {4, 350, 0.0005, 6.981}, {6, 800, 0.00005, 3.367}, {8, 1500, 0.0003, 3.094},
	} {
		d := v.inches * inch
		q := v.cfm * 0.3048 * 0.3048 * 0.3048 / 60
		speed := q / (math.Pi / 4 * d * d)
		f := FrictionFactor(speed*d/1.51e-5, v.rough*0.3048/d)
		pa := f / d * 100 * 0.3048 * 1.2014 / 2 * speed * speed
		assert.InEpsilon(t, v.want, pa/249.089, 3e-3, "%g in, %g cfm", v.inches, v.cfm)
	}
}

// The loss that the solver uses is the same law, and its slope is its derivative.
func TestPipeLossSlope(t *testing.T) {
	m := onePipe(t, 0.1, 3, 0.15e-3, 0.4)
	p := &m.pipes[0]
	for _, re := range []float64{100, 1500, 2500, 3900, 4100, 2e4, 3e5} {
		q := re / p.reynolds
		h, slope := p.exact(q, p.fixed)
		want := (FrictionFactor(re, 0.15e-3/0.1)*3/0.1 + 0.4 + 0.5) * p.perK * q * q
		assert.InEpsilon(t, want, h, 1e-12, "Re %g", re)
		d := q * 1e-6
		up, _ := p.exact(q+d, p.fixed)
		down, _ := p.exact(q-d, p.fixed)
		assert.InEpsilon(t, (up-down)/(2*d), slope, 1e-6, "Re %g", re)
	}
}

// onePipe is a duct with one port of hood loss 0.5 on a fan.
func onePipe(t testing.TB, diameter, length, rough, loss float64) *Model {
	t.Helper()
	m, err := Compile(Network{
		Name: "collector", Air: Air{Density: 1.2, Viscosity: 18.1e-6}, Transport: Transport{Carries: 20, Settles: 15},
		Fan:   Fan{Density: 1.2, Straight: true, Curve: []Point{{0, 2000}, {0.5, 0}}},
		Ducts: []Duct{{Name: "pipe", Into: -1, Diameter: diameter, Length: length, Roughness: rough, Loss: loss}},
		Ports: []Port{{Name: "port", Duct: 0, HoodLoss: 0.5}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}
