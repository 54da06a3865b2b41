package loop

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/gates/pca9685"
	"ductwarden/gates/pca9685/chip"
	"ductwarden/gates/servo"
)

// cheapBus answers for converters at once, from a table of noise with every second clamp running, so that what is
// measured is the program and not a model of its chips.
type cheapBus struct {
	now    time.Duration
	table  [4096]int16
	at     int
	config [4]uint16
	board  *chip.Chip
}

func newCheapBus() *cheapBus {
	b := &cheapBus{board: chip.New(0x40, 25_000_000)}
	r := rand.New(rand.NewPCG(1, 2))
	for i := range b.table {
		b.table[i] = int16(13200 + 20*r.NormFloat64() + 700*math.Sin(2*math.Pi*50*float64(i)/860))
	}
	return b
}

func (b *cheapBus) String() string                  { return "cheap" }
func (b *cheapBus) SetSpeed(physic.Frequency) error { return nil }

func (b *cheapBus) Tx(addr uint16, w, r []byte) error {
	if addr == 0x40 {
		return b.board.Tx(b.now, w, r)
	}
	c := &b.config[addr-0x48]
	switch {
	case len(w) == 3:
		*c = uint16(w[1])<<8 | uint16(w[2])
		return nil
	case len(w) == 1 && w[0] == 1:
		r[0], r[1] = byte(*c>>8)|0x80, byte(*c)
		return nil
	}
	b.at = (b.at + 1) % len(b.table)
	v := b.table[b.at]
	if *c>>12&1 == 0 { // an idle channel
		v = 13200 + (v-13200)/64
	}
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

// bigShop is a shop of n machines with a clamp and a gate each, in steady operation after a while: half of the
// machines run.
func bigShop(t testing.TB, n int) (*Loop, *Virtual, *cheapBus) {
	t.Helper()
	b, v := newCheapBus(), NewVirtual(AsFastAsMayBe)
	shop := &controller.Shop{Name: "big", MovingAtOnce: 2, MovesPerMinute: 6, LongestLinger: 15 * controller.Minute, Linger: 4 * controller.Minute, LeastClearing: 15 * controller.Second, LongestRun: 4 * controller.Hour, LongestHold: 4 * controller.Hour, PathLost: 2 * controller.Second, InrushSpacing: 2 * controller.Second, LongRunGrace: 15 * controller.Minute, Warning: 5 * controller.Second}
	p := Parts{Shop: shop, Scheduler: v}
	board, err := pca9685.New(b, pca9685.Settings{Addr: 0x40})
	require.NoError(t, err)
	p.Chips = append(p.Chips, Chip{Lane: "bus", Name: board.String(), Poll: board.Poll, Err: board.Err, State: func() ChipState { return ChipState{Resets: board.Resets()} }})
	for i := range n {
		if i%4 == 0 {
			c, err := ads1115.New(b, 0x48+uint16(i/4))
			require.NoError(t, err)
			p.Chips = append(p.Chips, Chip{Lane: "bus", Name: c.String(), Poll: c.Poll, Err: c.Err})
			for k := range 4 {
				ch, err := c.Clamp(ads1115.Ain0+ads1115.Input(k), ads1115.Volts4096, current.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
				require.NoError(t, err)
				last := &p.Chips[len(p.Chips)-1]
				last.Meters = append(last.Meters, Meter{Meter: ch, Machines: controller.Set(0).With(i + k), Collector: -1})
			}
		}
		shop.Gates = append(shop.Gates, controller.Gate{ID: fmt.Sprint("g", i), Name: fmt.Sprint("gate ", i)})
		shop.Gates[i].Motion.Travel = 600
		shop.Machines = append(shop.Machines, controller.Machine{ID: fmt.Sprint("m", i), Name: fmt.Sprint("machine ", i), Sensed: true, Needs: controller.Set(0).With(i), Collectors: 1})
		s, err := servo.New(board, servo.Settings{Board: board.String(), Channel: i, Open: 1900 * time.Microsecond, Closed: 1100 * time.Microsecond, Travel: 600 * time.Millisecond})
		require.NoError(t, err)
		p.Actuators = append(p.Actuators, Actuator{Lane: "bus", Gate: i, Actuator: s})
		p.Chips[0].Gates = p.Chips[0].Gates.With(i)
	}
	shop.Collectors = []controller.Collector{{ID: "c", Name: "collector", Starter: true, StartsPerHour: 8, Rest: 80_000, LeastRun: 60_000, SpinUp: 3000, Coast: 60_000, ProveOn: 2000, ProveOff: 3000}}
	shop.Collectors[0].Planner = planFor(shop)
	p.Starters = []Starter{&motor{log: new([]string)}}
	l, err := New(p)
	require.NoError(t, err)
	v.Advance(t.Context(), 5*time.Second)
	l.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole})
	v.Advance(t.Context(), 60*time.Second)
	return l, v, b
}

func planFor(shop *controller.Shop) plan.Planner { return needed{shop} }

// Nothing is allocated while nothing happens: not by the scan, not by converters, detection, servos and boards.
func TestTheHotPathAllocatesNothing(t *testing.T) {
	for _, n := range []int{8, 16} {
		l, v, b := bigShop(t, n)
		running := 0
		for i := range n {
			if l.snaps.Latest().Machines[i].State == "running" {
				running++
			}
		}
		require.Equal(t, n/2, running, "half of the machines run")
		now := v.Now()
		tasks := []Task{}
		for _, c := range l.chips {
			tasks = append(tasks, c)
		}
		for _, d := range l.drives {
			tasks = append(tasks, d)
		}
		assert.Zero(t, testing.AllocsPerRun(2000, func() {
			now += time.Millisecond
			b.now, l.published = now, now // a snapshot is made four times a second, and is new each time
			for _, task := range tasks {
				task.Poll(now)
			}
			l.Poll(now)
		}), "%d channels", n)
	}
}

// BenchmarkSecond is one second of operation in the steady state: ns/op over 1e9 is the share of one processor, the
// kernel's share of transfers left out; allocations are those of the snapshots.
func BenchmarkSecond(b *testing.B) {
	for _, n := range []int{8, 16} {
		b.Run(fmt.Sprintf("%d channels", n), func(b *testing.B) {
			_, v, _ := bigShop(b, n)
			b.ReportAllocs()
			for b.Loop() {
				v.Advance(b.Context(), v.Now()+time.Second)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e7, "%cpu")
		})
	}
}
