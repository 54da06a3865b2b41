package loop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/current"
)

// twoDrops is a trunk with a drop for each of the rig's gates.
func twoDrops(t *testing.T) *airflow.Model {
	t.Helper()
	m, err := airflow.Compile(airflow.Network{
		Name: "collector", Air: airflow.Air{Density: 1.2, Viscosity: 18.1e-6},
		Transport: airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan:       airflow.Fan{Kind: airflow.FanStatic, Inlet: 0.15, Density: 1.2, Curve: []airflow.Point{{Flow: 0, Pressure: 2800}, {Flow: 0.5, Pressure: 2200}, {Flow: 1, Pressure: 300}}},
		Filter:    airflow.Filter{Clean: airflow.LossAt(0.5, 250, 0.7), Loaded: airflow.LossAt(0.5, 700, 0.7)},
		Ducts:     []airflow.Duct{{Name: "trunk", Into: -1, Diameter: 0.15, Length: 4, Roughness: 1e-4}, {Name: "saw drop", Into: 0, Diameter: 0.12, Length: 2, Roughness: 1e-4}, {Name: "lathe drop", Into: 0, Diameter: 0.08, Length: 2, Roughness: 1e-4}},
		Ports:     []airflow.Port{{Name: "saw", Duct: 1, HoodLoss: 0.5, Airflow: 0.3}, {Name: "lathe", Duct: 2, HoodLoss: 0.9}},
		Gates:     []airflow.Gate{{Name: "saw", Number: 0, Duct: 1}, {Name: "lathe", Number: 1, Duct: 2}},
	})
	require.NoError(t, err)
	return m
}

// airRig is the rig with ducts, an inlet tap and a tap across the filter.
func airRig(t *testing.T) (r *rig, inlet, filter *float64, solver *airflow.Solver) {
	solver = airflow.NewSolver(twoDrops(t))
	inlet, filter = new(float64), new(float64)
	r = newRig(t, func(p *Parts) {
		for _, name := range []string{"trunk", "saw drop", "lathe drop"} {
			p.Shop.Ducts = append(p.Shop.Ducts, controller.Duct{ID: name, Name: name, Transport: 21000})
		}
		p.Air = &Air{Trees: []AirTree{{Solver: airflow.NewSolver(twoDrops(t)), Ducts: []int{0, 1, 2}}}, Ports: [][]Port{{{Place: 0}}, {{Place: 1}}}}
		p.Taps = []Tap{
			{Name: "inlet", Lane: "bus", Place: TapInlet, Inlet: 0.15, Above: 0.3, Below: 0.3, Delay: 3 * time.Second, Read: func() (float64, bool) { return *inlet, *inlet >= 0 }},
			{Name: "filter", Lane: "bus", Place: TapFilter, Judges: true, Delay: 5 * time.Second, Read: func() (float64, bool) { return *filter, true }},
		}
	})
	return r, inlet, filter, solver
}

func TestAirOfThePresentPattern(t *testing.T) {
	r, _, _, solver := airRig(t)
	r.onDuty()
	for _, d := range r.snap().Ducts {
		assert.Zero(t, d.VelocityMS, "no fan, no air")
		assert.False(t, d.Carrying)
	}
	r.meters[0].belief = current.Running
	r.run(10 * time.Second)
	s := r.snap()
	want := solver.Solve(1, airflow.Loaded)
	assert.InDelta(t, want.Velocity[0], s.Ducts[0].VelocityMS, 1e-9)
	assert.True(t, s.Ducts[0].Carrying)
	assert.True(t, s.Ducts[1].Carrying)
	assert.False(t, s.Ducts[2].Carrying)
	assert.InDelta(t, want.PortFlow[0]/0.3, *s.Machines[0].Share, 1e-9)
	assert.Nil(t, s.Machines[1].Share, "no wish, no share")
	least := min(want.Velocity[0], want.Velocity[1])
	assert.InDelta(t, least/20-1, *s.Collectors[0].Margin, 1e-9)
	assert.Equal(t, "carries", s.Collectors[0].Transport)
	assert.InDelta(t, want.FanFlow, *s.Collectors[0].FlowM3S, 1e-9)

	assert.Equal(t, "creeps", verdict(20.9, airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05}), "the margin is asked")
	assert.Equal(t, "carries", verdict(21, airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05}))
	assert.Equal(t, "settles", verdict(14.9, airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05}))
}

// Of a gate that is slid by hand and has no contacts the worse is shown.
func TestUnknownHandGateShowsTheWorse(t *testing.T) {
	tree := AirTree{Solver: airflow.NewSolver(twoDrops(t)), Ducts: []int{0, 1, 2}}
	a := Air{Trees: []AirTree{tree}, Ports: [][]Port{{{Place: 0}}}}
	s := controller.Snapshot{
		Machines: []controller.MachineSnapshot{{State: "running"}}, Collectors: []controller.CollectorSnapshot{{Phase: "running"}},
		Gates: []controller.GateSnapshot{{State: "open"}, {State: "unknown", Hand: true}}, Ducts: make([]controller.DuctSnapshot, 3),
	}
	a.Fill(&s)
	shut, open := airflow.NewSolver(twoDrops(t)), airflow.NewSolver(twoDrops(t))
	alone, both := shut.Solve(1, airflow.Loaded), open.Solve(3, airflow.Loaded)
	assert.InDelta(t, alone.Velocity[0], s.Ducts[0].VelocityMS, 1e-9, "the trunk is slower without it")
	assert.InDelta(t, both.Velocity[1], s.Ducts[1].VelocityMS, 1e-9, "the saw's drop is slower with it")
	assert.False(t, s.Ducts[2].Carrying)
}

func TestSuctionAgainstTheModel(t *testing.T) {
	r, inlet, _, solver := airRig(t)
	said := func() (v []int32) {
		for _, rec := range r.Recent(diaryLength) {
			if rec.Event.Kind == controller.AirSeen {
				v = append([]int32{rec.Event.V}, v...)
			}
		}
		return v
	}
	r.onDuty()
	net := solver.Model().Network()
	res := solver.Solve(1, airflow.Clean)
	v := res.FanFlow / (3.14159265 / 4 * 0.15 * 0.15)
	model := -res.InletTotal + net.Air.Density*v*v/2
	*inlet = 9 * model // before the air is there nothing is compared
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	*inlet = model
	r.run(20 * time.Second)
	assert.Empty(t, said(), "all is well, and nobody needs to hear it")
	*inlet = 1.5 * model
	r.run(2 * time.Second)
	*inlet = model // shorter than the delay
	r.run(10 * time.Second)
	assert.Empty(t, said())
	*inlet = 1.5 * model
	r.run(10 * time.Second)
	assert.Equal(t, []int32{1}, said())
	assert.InDelta(t, 1.5*model, *r.snap().Collectors[0].SuctionPa, 0.1)
	*inlet = 0.3 * model
	r.run(10 * time.Second)
	*inlet = -1 // no reading says nothing
	r.run(10 * time.Second)
	*inlet = model
	r.run(20 * time.Second)
	assert.Equal(t, []int32{1, 2, 0}, said())
}

func TestFilterTapTellsCleanFromLoaded(t *testing.T) {
	r, _, filter, solver := airRig(t)
	said := func() (v []int32) {
		for _, rec := range r.Recent(diaryLength) {
			if rec.Event.Kind == controller.FilterSeen {
				v = append([]int32{rec.Event.V}, v...)
			}
		}
		return v
	}
	r.onDuty()
	f := solver.Model().Network().Filter
	clean, loaded := f.Clean.At(solver.Solve(1, airflow.Clean).FanFlow), f.Loaded.At(solver.Solve(1, airflow.Loaded).FanFlow)
	*filter = clean
	r.meters[0].belief = current.Running
	r.run(20 * time.Second)
	assert.Equal(t, []int32{0}, said())
	*filter = (clean + loaded) / 1.6 // in between: neither
	r.run(20 * time.Second)
	*filter = loaded
	r.run(20 * time.Second)
	assert.Equal(t, []int32{0, 1}, said())
}
