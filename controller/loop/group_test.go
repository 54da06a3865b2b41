package loop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/current"
	"ductwarden/gates"
)

// sharedRig is the rig with one clamp for both machines; carries is the air speed that its ducts must have.
func sharedRig(t *testing.T, carries float64) *rig {
	net := *twoDrops(t).Network()
	net.Transport.Carries = carries
	m, err := airflow.Compile(net)
	require.NoError(t, err)
	r := newRig(t, func(p *Parts) {
		for _, name := range []string{"trunk", "saw drop", "lathe drop"} {
			p.Shop.Ducts = append(p.Shop.Ducts, controller.Duct{ID: name, Name: name, Transport: 21000})
		}
		p.Air = &Air{Trees: []AirTree{{Solver: airflow.NewSolver(m), Ducts: []int{0, 1, 2}}}, Ports: [][]Port{{{Place: 0}}, {{Place: 1}}}}
		shared := &p.Chips[0].Meters
		*shared = []Meter{{Meter: (*shared)[0].Meter, Machines: gates.Of(0, 1), Collector: -1}, (*shared)[2]}
	})
	r.onDuty()
	return r
}

func (r *rig) asked() (n int) {
	for _, s := range r.groupsStanding(nil) {
		if s.Is == controller.WhichRuns {
			n++
		}
	}
	return n
}

func TestOneClampForTwoMachinesOpensBothGates(t *testing.T) {
	r := sharedRig(t, 15)
	r.meters[0].belief = current.Running
	r.run(20 * time.Second)
	assert.True(t, r.slides[0].open && r.slides[1].open)
	assert.Zero(t, r.asked(), "both carry, so nobody need say")
}

func TestOneClampAsksWhichMachineRuns(t *testing.T) {
	r := sharedRig(t, 35)
	r.meters[0].belief = current.Running
	r.run(4 * time.Second)
	assert.True(t, r.slides[0].open && r.slides[1].open, "whoever runs has its gate meanwhile")
	assert.Zero(t, r.asked())
	r.run(10 * time.Second)
	assert.Equal(t, 2, r.asked())

	a, err := Answer{}, error(nil)
	done := make(chan struct{})
	go func() {
		a, err = r.Do(t.Context(), Request{Event: controller.Event{Kind: controller.CallAir, By: controller.FromPage, N: 1, V: 60_000}})
		close(done)
	}()
	for answered := false; !answered; {
		r.run(25 * time.Millisecond)
		select {
		case <-done:
			answered = true
		default:
		}
	}
	require.NoError(t, err)
	assert.True(t, a.Accepted)
	r.run(20 * time.Second)
	assert.Zero(t, r.asked())
	assert.Equal(t, "idle", r.snap().Machines[0].State)
	assert.Equal(t, "running", r.snap().Machines[1].State)
	assert.False(t, r.slides[0].open, "the other's gate closes")
	assert.True(t, r.slides[1].open)

	r.meters[0].belief = current.Idle
	r.run(2 * time.Second)
	r.meters[0].belief = current.Running
	r.run(2 * time.Second)
	assert.Equal(t, "running", r.snap().Machines[0].State, "the next start is anyone's again")

	r.run(20 * time.Second)
	require.Equal(t, 2, r.asked())
	r.press(lineButton) // of the saw
	r.run(10 * time.Second)
	assert.Zero(t, r.asked())
	assert.Equal(t, "running", r.snap().Machines[0].State)
	assert.NotEqual(t, "running", r.snap().Machines[1].State)
}
