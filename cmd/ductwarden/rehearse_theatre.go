package main

import (
	"context"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/simshop"
)

// simWires are the buses and lines of a simulated shop.
type simWires struct{ shop *simshop.Shop }

func (w simWires) I2C(bus int) (i2c.Bus, error)  { return w.shop.Bus(bus), nil }
func (w simWires) SPI(bus int) (spi.Conn, error) { return w.shop.Port(bus), nil }

func (w simWires) Broker() (partsBroker, error) { return w.shop.Network(), nil }

func (w simWires) Output(_ string, l config.Line) (loop.Setter, error) {
	line := w.shop.Line(l)
	return line, line.Set(false)
}

func (w simWires) Inputs(_ string, lines []namedLine) (loop.Levels, error) {
	var in simLevels
	for _, l := range lines {
		in = append(in, w.shop.Line(l.line))
	}
	return in, nil
}

// simLevels are input lines that are read together.
type simLevels []*simshop.Line

// Read implements loop.Levels.
func (s simLevels) Read() (levels uint64, err error) {
	for i, l := range s {
		on, err := l.Read()
		if err != nil {
			return 0, err
		}
		if on {
			levels |= 1 << uint(i)
		}
	}
	return levels, nil
}

// simHands switch machines in a simulated shop when the bench has asked the person to.
type simHands struct{ shop *simshop.Shop }

// Switch implements bench.Props.
func (h simHands) Switch(machine int, on bool) { h.shop.Switch(machine, on) }

// Blade implements bench.Props.
func (h simHands) Blade(gate int) float64 { return h.shop.Blade(gate) }

// dawn is the time of day at which a rehearsed story begins.
const dawn = 7*time.Hour + 30*time.Minute

// theatre is a simulated shop with the whole daemon in it and a story that is played.
type theatre struct {
	file  *config.Shop
	clock *loop.Virtual
	sim   *simshop.Shop
	paper *paperFile // what the bench and the page's editor write into
	*daemon

	begin    time.Duration // of the story, on the scheduler's clock
	score    *score
	narrator *narrator
}

// newTheatre builds the shop that a file describes, and the daemon in it. The program has been standing by for as
// long as the motors must rest, which is gone through at once.
func newTheatre(ctx context.Context, file *config.Shop, seed uint64) (*theatre, error) {
	return newTheatreAfter(ctx, file, seed, loop.OrderlyEnd)
}

// newTheatreAfter is newTheatre in a shop whose last program ended like that.
func newTheatreAfter(ctx context.Context, file *config.Shop, seed uint64, ending loop.Ending) (*theatre, error) {
	return newTheatreTold(ctx, file, seed, ending, nil)
}

// newTheatreTold is newTheatreAfter with a journal, where book is not nil.
func newTheatreTold(ctx context.Context, file *config.Shop, seed uint64, ending loop.Ending, book *scribe) (*theatre, error) {
	t := &theatre{file: file, clock: loop.NewVirtual(loop.AsFastAsMayBe), paper: &paperFile{sheet: file.Text}}
	_, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	t.sim = simshop.New(file, models, t.clock.Now, simshop.Options{Seed: seed})
	t.clock.Add("shop", "shop", t.sim)
	starts, before, err := restedStarts(file, t.clock, ending)
	if err != nil {
		return nil, err
	}
	t.daemon, err = wire(file, settings{scheduler: t.clock, wires: simWires{t.sim}, epoch: "rehearsal", starts: starts, before: before,
		edits: t.paper, hands: simHands{t.sim}, scribe: book})
	if err != nil {
		return nil, err
	}
	t.score = newScore(t)
	t.narrator = newNarrator(t)
	t.clock.Add("story", "score", t.score)
	t.clock.Add("story", "narrator", t.narrator)
	for _, c := range file.Collectors {
		t.begin = max(t.begin, c.Motor.Rest)
	}
	t.begin += 10 * time.Second
	t.clock.Advance(ctx, t.begin)
	return t, nil
}

// restedStarts is a file of starts in memory that tells how the last program ended, with no start in the last hour.
func restedStarts(file *config.Shop, clock loop.Scheduler, ending loop.Ending) (*loop.Starts, loop.Restored, error) {
	m, c := &loop.Memory{}, &rehearsedBoot{clock: clock}
	last, _, err := loop.RestoreStarts(m, c, budgets(file))
	if err != nil {
		return nil, loop.Restored{}, err
	}
	c.later = 2 * time.Hour
	if err := last.Mark(ending); err != nil {
		return nil, loop.Restored{}, err
	}
	return loop.RestoreStarts(m, c, budgets(file))
}

// rehearsedBoot is the boot clock of a rehearsal: the scheduler's, after a machine that has been up for a while.
type rehearsedBoot struct {
	clock loop.Scheduler
	later time.Duration
}

// Boot implements loop.BootClock.
func (b *rehearsedBoot) Boot() [16]byte { return [16]byte{1} }

// SinceBoot implements loop.BootClock.
func (b *rehearsedBoot) SinceBoot() time.Duration { return b.later + b.clock.Now() }

// play puts a story's beats into the future.
func (t *theatre) play(from time.Duration, story []beat) {
	for _, b := range story {
		t.sim.At(from+b.at, func() {
			if b.text != "" {
				t.narrator.say(b.text)
			}
			if b.do != nil {
				b.do(t)
			}
		})
	}
}

// timeOfDay is the story's time of day for a moment of the scheduler's clock.
func (t *theatre) timeOfDay(at time.Duration) string {
	d := dawn + at - t.begin
	if d < 0 {
		d = 0
	}
	s := int(d / time.Second)
	return time.Date(0, 1, 1, s/3600%24, s/60%60, s%60, 0, time.UTC).Format("15:04:05")
}

// machine finds a machine by its name; a story names only machines of its own shop.
func (t *theatre) machine(name string) int {
	for i := range t.file.Machines {
		if t.file.Machines[i].Name == name {
			return i
		}
	}
	panic("the story names a machine that its shop does not have: " + name)
}

// gate finds a gate by its name.
func (t *theatre) gate(name string) int {
	for i := range t.file.Gates {
		if t.file.Gates[i].Name == name {
			return i
		}
	}
	panic("the story names a gate that its shop does not have: " + name)
}

// press presses a button of the wall, or asks as the console would where it is not fitted.
func (t *theatre) press(line *config.Line, kind controller.EventKind) {
	if line != nil {
		t.sim.Press(*line)
		return
	}
	ev := controller.Event{Kind: kind, By: controller.FromConsole}
	if kind == controller.Acknowledged {
		ev.N = controller.Everything
	}
	t.loop.Post(ev)
}

// button presses a machine's button, if it has one.
func (t *theatre) button(machine int) bool {
	for _, s := range t.file.Machines[machine].Sensors {
		if s.Button != nil {
			t.sim.Press(s.Button.Line)
			return true
		}
	}
	return false
}
