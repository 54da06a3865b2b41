package loop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/current"
)

// tapRig is the rig with ducts and one tap.
func tapRig(t *testing.T, tap Tap) (r *rig, pa *float64, solver *airflow.Solver) {
	pa = new(float64)
	tap.Name, tap.ID, tap.Lane = "tap", "tap", "bus"
	if tap.Above == 0 {
		tap.Above, tap.Below = 0.3, 0.3
	}
	tap.Delay, tap.Inlet = 3*time.Second, 0.15
	tap.Read = func() (float64, bool) { return *pa, true }
	r = newRig(t, func(p *Parts) {
		for _, name := range []string{"trunk", "saw drop", "lathe drop"} {
			p.Shop.Ducts = append(p.Shop.Ducts, controller.Duct{ID: name, Name: name, Transport: 21000})
		}
		p.Air = &Air{Trees: []AirTree{{Solver: airflow.NewSolver(twoDrops(t)), Ducts: []int{0, 1, 2}}}, Ports: [][]Port{{{Place: 0}}, {{Place: 1}}}}
		p.Taps = []Tap{tap}
	})
	return r, pa, airflow.NewSolver(twoDrops(t))
}

func airOf(r *rig) (v []int32) {
	for _, rec := range r.Recent(diaryLength) {
		if rec.Event.Kind == controller.AirSeen {
			v = append([]int32{rec.Event.V}, v...)
		}
	}
	return v
}

func TestTapsAtDuctsAndPorts(t *testing.T) {
	for name, c := range map[string]struct {
		tap   Tap
		model func(*airflow.Result) float64
	}{
		"duct": {Tap{Place: TapDuct, Of: 1}, func(r *airflow.Result) float64 { return -r.Static[1] }},
		"port": {Tap{Place: TapPort, Of: 0}, func(r *airflow.Result) float64 { return r.PortSuction[0] }},
	} {
		t.Run(name, func(t *testing.T) {
			r, pa, solver := tapRig(t, c.tap)
			r.onDuty()
			model := c.model(solver.Solve(1, airflow.Clean))
			assert.Positive(t, model)
			*pa = model
			r.meters[0].belief = current.Running
			r.run(20 * time.Second)
			assert.Empty(t, airOf(r))
			shown := r.snap().Taps[0]
			assert.InDelta(t, model, *shown.Pa, 0.1)
			assert.Equal(t, "good", shown.Health)
			assert.LessOrEqual(t, *shown.LowPa, model)
			*pa = 0.4 * model
			r.run(20 * time.Second)
			*pa = 2 * model
			r.run(20 * time.Second)
			*pa = model
			r.run(20 * time.Second)
			assert.Equal(t, []int32{2, 1, 0}, airOf(r))
		})
	}
}

// The zero is taken while the fan stands; one that has wandered too far is told, and the reading is not judged.
func TestZeroOfATap(t *testing.T) {
	r, pa, solver := tapRig(t, Tap{Place: TapDuct, Of: 1, Drift: 20})
	*pa = 15
	r.onDuty()
	r.run(15 * time.Second)
	assert.InDelta(t, 0, *r.snap().Taps[0].Pa, 0.2)
	model := -solver.Solve(1, airflow.Clean).Static[1]
	*pa = model + 15
	r.meters[0].belief = current.Running
	r.run(20 * time.Second)
	assert.InDelta(t, model, *r.snap().Taps[0].Pa, 0.3)
	assert.Empty(t, airOf(r))
	r.meters[0].belief = current.Idle
	r.run(20 * time.Minute)
	*pa = 40
	r.run(time.Minute)
	assert.Equal(t, "off", r.snap().Collectors[0].Phase)
	assert.Equal(t, "zero_wandered", r.snap().Taps[0].Health)
	assert.Equal(t, []int32{3}, airOf(r))
	*pa = 0
	r.run(5 * time.Minute)
	assert.Equal(t, []int32{3, 0}, airOf(r))
	assert.Equal(t, "good", r.snap().Taps[0].Health)
}

// Suction that fits only with the gate as it is said to be proves a gate without switches; suction that fits only
// with an open gate shut tells of it.
func TestSuctionProvesAGate(t *testing.T) {
	r, pa, solver := tapRig(t, Tap{Place: TapInlet, Above: 0.1, Below: 0.1})
	r.onDuty()
	inlet := func(open uint64) float64 {
		s, ok := allowed(&Tap{Place: TapInlet, Inlet: 0.15}, solver, controller.Set(open))
		assert.True(t, ok)
		return (s.low + s.high) / 2
	}
	saw, none := inlet(1), inlet(0)
	assert.Greater(t, none, 1.2*saw, "a shut saw gate would show")
	*pa = saw
	r.meters[0].belief = current.Running
	r.run(20 * time.Second)
	g := r.snap().Gates[0]
	assert.Equal(t, "open", g.State)
	assert.Equal(t, "open", g.ByAir)
	assert.True(t, g.Proved)
	*pa = none
	r.run(20 * time.Second)
	assert.Equal(t, []int32{1}, airOf(r))
	assert.Equal(t, "not_open", r.snap().Gates[0].ByAir)
}
