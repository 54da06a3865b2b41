package bench

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/current"
	"ductwarden/gates"
)

// stand is a running shop as far as the bench can tell, in time that a test moves.
type stand struct {
	t        *testing.T
	now      time.Duration
	onDuty   bool
	reserved bool
	unheard  bool
	seen     []loop.Seen
	amps     func(at time.Duration) float64 // of the first input
	snaps    loop.Hub[controller.Snapshot]
	lent     loop.Borrower
	returned int
	servo    fakeServo
	task     loop.Task
	b        *Bench
	file     *fakeFile
	hands    *fakeHands
}

func (s *stand) Reserve() error {
	if s.onDuty {
		return loop.ErrOnDuty
	}
	s.reserved = true
	return nil
}
func (s *stand) Free()                                     { s.reserved = false }
func (s *stand) Sight(out []loop.Seen) []loop.Seen         { return append(out, s.seen...) }
func (s *stand) Unheard(int) bool                          { return s.unheard }
func (s *stand) Nudge(int)                                 {}
func (s *stand) Return(int)                                { s.lent = nil; s.returned++; _ = s.servo.Halt() }
func (s *stand) Snapshots() *loop.Hub[controller.Snapshot] { return &s.snaps }
func (s *stand) Lend(gate int, to loop.Borrower) bool      { s.lent = to; return gate < 3 }
func (s *stand) Add(_ loop.Lane, _ string, t loop.Task) loop.Handle {
	s.task = t
	return quietHandle{}
}

type quietHandle struct{}

func (quietHandle) Wake()                         {}
func (quietHandle) Polled() (time.Duration, bool) { return 0, false }

// scheduler is the part of the stand that takes tasks.
type scheduler struct {
	loop.Scheduler
	*stand
}

func (s scheduler) Add(l loop.Lane, n string, t loop.Task) loop.Handle { return s.stand.Add(l, n, t) }

type fakeServo struct {
	at     []time.Duration
	drives []gates.Drive
	halts  int
	broken bool
}

func (f *fakeServo) Step(_, width time.Duration) error {
	if f.broken {
		return errors.New("pca9685@0x40/0: no answer: look at its supply")
	}
	f.at = append(f.at, width)
	return nil
}
func (f *fakeServo) Drive(_ time.Duration, d gates.Drive) error {
	f.drives = append(f.drives, d)
	return nil
}
func (f *fakeServo) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (f *fakeServo) Halt() error                               { f.halts++; return nil }
func (f *fakeServo) String() string                            { return "pca9685@0x40/0" }

type fakeFile struct {
	before, after string
	refuses       error
	kept          []Change
}

func (f *fakeFile) Preview([]Change) ([]byte, []byte, error) {
	return []byte(f.before), []byte(f.after), f.refuses
}
func (f *fakeFile) Keep(c []Change) error { f.kept = c; return f.refuses }

type fakeHands struct {
	on map[int]bool
	at float64
}

func (f *fakeHands) Switch(m int, on bool) { f.on[m] = on }
func (f *fakeHands) Blade(int) float64     { return f.at }

// newStand is a shop with a saw and a lathe on clamps, a sweep without, and gates of every kind.
func newStand(t *testing.T) *stand {
	s := &stand{t: t, now: time.Second, file: &fakeFile{before: "a\nb\n", after: "a\nc\n"}, hands: &fakeHands{on: map[int]bool{}}}
	s.seen = []loop.Seen{
		{Name: "ads1115@0x48/0", Measured: true, Health: current.Good, Collector: -1},
		{Name: "ads1115@0x48/1", Measured: true, Health: current.Good, Collector: -1},
	}
	s.b = New(Parts{
		Loop: s, File: s.file, Props: s.hands,
		Machines: []Machine{
			{Name: "Table saw", ID: "saw", Path: "machines[0]", Sensor: "machines[0].sensors[1].clamp", Input: "ads1115@0x48/0"},
			{Name: "Lathe", ID: "lathe", Path: "machines[1]", Sensor: "machines[1].sensors[0].clamp", Input: "ads1115@0x48/1"},
			{Name: "Sweep", ID: "sweep", Path: "machines[2]"},
		},
		Inputs: []Input{{Name: "ads1115@0x48/0", Watches: []string{"Table saw"}, Running: 2, Idle: 1.2, Most: 35}, {Name: "ads1115@0x48/1", Watches: []string{"Lathe"}, Running: 2, Most: 35}},
		Gates: []Gate{
			{Name: "Saw", ID: "saw", Path: "gates[0]", Actuator: "pca9685@0x40/0", Bus: "/dev/i2c-1", Servo: &Servo{Least: 900 * us, Most: 2100 * us}},
			{Name: "Lathe", ID: "lathe", Path: "gates[1]", Actuator: "g/1+g/2", Motor: &Motor{Travel: 2 * time.Second}},
			{Name: "Sweep", ID: "sweep", Path: "gates[2]"},
		},
	}, scheduler{stand: s})
	s.pass(100 * time.Millisecond)
	return s
}

const us = time.Microsecond

// pass lets time go by: the bench is polled, and whoever has the actuator.
func (s *stand) pass(d time.Duration) {
	for until := s.now + d; s.now < until; s.now += 10 * time.Millisecond {
		if s.amps != nil {
			s.seen[0].Milliamperes = int32(s.amps(s.now) * 1000)
		}
		if s.now%(50*time.Millisecond) == 0 {
			s.task.Poll(s.now)
		}
		if s.lent != nil {
			_, _ = s.lent.Move(s.now, &s.servo)
		}
	}
}

func (s *stand) do(o Order) (View, error) {
	if o.Session == "" && o.Action != ActLearn && o.Action != ActJog {
		o.Session = s.b.token
	}
	return s.b.Do(s.t.Context(), o)
}

func (s *stand) must(o Order) View {
	s.t.Helper()
	v, err := s.do(o)
	require.NoError(s.t, err)
	return v
}

func (s *stand) view() View {
	v, err := s.b.View(s.t.Context(), s.b.token)
	require.NoError(s.t, err)
	return v
}
