package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/controller/alarm"
	"ductwarden/controller/bench"
	"ductwarden/controller/loop"
	"ductwarden/controller/plan"
)

// wires are the buses and lines that a shop is wired to: metal, or those of a simulated shop. The drivers on them
// are the same.
type wires interface {
	I2C(bus int) (i2c.Bus, error)
	SPI(bus int) (spi.Conn, error)
	// Output takes a line and drives it to its idle level in the same act.
	Output(name string, l config.Line) (loop.Setter, error)
	// Inputs takes lines of one GPIO chip that are read together.
	Inputs(chip string, lines []namedLine) (loop.Levels, error)
	// Broker carries the messages of parts on the network.
	Broker() (partsBroker, error)
}

// namedLine is an input line and what it is for.
type namedLine struct {
	name string
	line config.Line
}

// daemon is the whole running thing, wired.
type daemon struct {
	file   *config.Shop
	shop   *controller.Shop
	trees  []config.Tree
	models []*airflow.Model // by collector; nil: the air is not judged
	loop   *loop.Loop
	leaves []string // what each starter leaves behind when the program dies
	bench  *bench.Bench
	rooms  rooms                       // what page and console show beside the loop
	reload func(context.Context) error // loads the shop file anew; nil: there is none
}

// settings are what wiring needs beside the shop file.
type settings struct {
	scheduler loop.Scheduler
	wires     wires
	epoch     string // names this start of the program to remote parts
	starts    *loop.Starts
	before    loop.Restored
	left      *loop.Left     // what the loop before left under another shop file; nil: the program has just started
	laid      []plan.Planner // of this shop file, thought out already; nil: they are laid out now
	feed      func()
	scribe    *scribe // keeps the journal; nil: none
	look      bool    // only to see which wires are asked for: nothing will run
	scanned   func(took time.Duration)
	changed   func(error)
	trouble   func(chip string, err error) // told when a chip cannot be used, and when it can again
	edits     bench.File                   // where the bench writes what it finds; nil: nowhere
	hands     bench.Props                  // that switch in a rehearsal; nil: a person's own
	adapt     func(*bench.Parts)           // of what the bench knows of the file; nil: nothing
}

// compile checks the air of a shop and makes each collector's model.
func compile(file *config.Shop) ([]config.Tree, []*airflow.Model, error) {
	trees := file.Trees()
	models := make([]*airflow.Model, len(trees))
	for c := range trees {
		if !trees[c].Judged {
			continue
		}
		m, err := airflow.Compile(trees[c].Network)
		if err != nil {
			return nil, nil, err
		}
		models[c] = m
	}
	return trees, models, nil
}

// planners lays out a planner for each collector and has it think of single machines and pairs beforehand.
func planners(file *config.Shop, trees []config.Tree, models []*airflow.Model) ([]plan.Planner, error) {
	return layPlanners(file, trees, models, true)
}

func layPlanners(file *config.Shop, trees []config.Tree, models []*airflow.Model, prepare bool) ([]plan.Planner, error) {
	out := make([]plan.Planner, len(trees))
	for c := range trees {
		var air plan.Air
		if models[c] != nil {
			air = plan.Solved(models[c])
		}
		options := planOptions(file)
		options.FilterSensor = c < len(file.Collectors) && file.Collectors[c].Filter != nil && file.Collectors[c].Filter.Sensor != nil
		t, err := plan.New(&trees[c].Network, air, trees[c].Machines, options)
		if err != nil {
			return nil, err
		}
		if prepare {
			t.Prepare()
		}
		out[c] = t
	}
	return out, nil
}

// budgets are the collectors as the file of starts keeps them.
func budgets(file *config.Shop) []loop.Budgeted {
	var out []loop.Budgeted
	for _, c := range file.Collectors {
		out = append(out, loop.Budgeted{ID: c.ID, Limit: c.Motor.StartsPerHour})
	}
	return out
}

// wire builds the drivers that a shop file names on its wires, and the loop that runs them. Nothing moves before
// the scheduler runs.
func wire(file *config.Shop, s settings) (*daemon, error) {
	trees, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	laid := s.laid
	if laid == nil {
		if laid, err = layPlanners(file, trees, models, !s.look); err != nil {
			return nil, err
		}
	}
	thinkers := make([]plan.Planner, len(laid))
	for c := range laid {
		thinkers[c] = s.scribe.listening(c, laid[c])
	}
	shop, err := file.Core(thinkers)
	if err != nil {
		return nil, err
	}
	d := &daemon{file: file, shop: shop, trees: trees, models: models}
	b := &builder{file: file, daemon: d, wires: s.wires, epoch: s.epoch, parts: loop.Parts{
		Shop: shop, Scheduler: s.scheduler, Starts: s.starts, Before: s.before, Alarms: newAlarms(shop, file), Feed: s.feed, Scanned: s.scanned, Changed: s.changed, Trouble: s.trouble,
		Air: modelled(file, trees, models),
	}}
	if s.left != nil {
		b.parts.Anew = true
		if b.parts.Resumed, err = resumed(s.left, shop, s.scribe); err != nil {
			return nil, err
		}
	}
	if s.scribe != nil {
		b.parts.Stepped = func(st loop.Stepped) { s.scribe.stepped(shop, st) }
		b.parts.Asked = func(a loop.Asked) { s.scribe.asked(words{shop}, a) }
	}
	for _, step := range []func() error{b.starters, b.boards, b.converters, b.remoteMeters, b.gates, b.inputs, b.signals} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	if d.loop, err = loop.New(b.parts); err != nil {
		return nil, err
	}
	parts := benchParts(file, d.loop, s.edits, s.hands)
	if s.adapt != nil {
		s.adapt(&parts)
	}
	d.bench = bench.New(parts, s.scheduler)
	return d, nil
}

// newAlarms makes the alarm list of a shop, with the delays that its file gives to single alarms.
func newAlarms(shop *controller.Shop, file *config.Shop) loop.Alarms {
	var own []alarm.Delay
	for _, a := range file.Alarms {
		d := alarm.Delay{On: -1, Off: -1}
		for _, c := range controller.Conditions() {
			if c.String() == a.Name {
				d.Is = c
			}
		}
		if a.On >= 0 {
			d.On = controller.Span(a.On / time.Millisecond)
		}
		if a.Off >= 0 {
			d.Off = controller.Span(a.Off / time.Millisecond)
		}
		own = append(own, d)
	}
	return alarm.New(shop, own...)
}

// modelled is what the loop fills a snapshot's air with.
func modelled(file *config.Shop, trees []config.Tree, models []*airflow.Model) *loop.Air {
	a := &loop.Air{Ports: make([][]loop.Port, len(file.Machines))}
	for c, t := range trees {
		at := loop.AirTree{Ducts: t.Ducts}
		if models[c] != nil {
			at.Solver = airflow.NewSolver(models[c])
		}
		a.Trees = append(a.Trees, at)
		for _, m := range t.Machines {
			for _, p := range m.Ports {
				a.Ports[m.Number] = append(a.Ports[m.Number], loop.Port{Collector: c, Place: p})
			}
		}
	}
	return a
}

// builder carries the parts while they are made.
type builder struct {
	file   *config.Shop
	daemon *daemon
	wires  wires
	parts  loop.Parts
	chips  []*madeChip
	pulse  []*madeBoard
	epoch  string
}

// lane is the goroutine that owns a bus.
func (b *builder) lane(bus int) loop.Lane { return loop.Lane("bus " + b.file.Buses[bus].Name) }

// errNoBroker says that a part on the network has nothing to speak through.
var errNoBroker = errors.New("it is a part on the network, and the shop file names no broker: add mqtt: {broker: ..., site: ...}")

func milliamperes(a float64) int32 { return int32(a*1000 + 0.5) }
func microvolts(v float64) int64   { return int64(v*1e6 + 0.5) }

// named wraps an error with the thing of the shop file that it concerns.
func named(kind, name string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s %q: %w", kind, name, err)
}

// orElse is d, or the default where d is zero.
func orElse(d, otherwise time.Duration) time.Duration {
	if d == 0 {
		return otherwise
	}
	return d
}
