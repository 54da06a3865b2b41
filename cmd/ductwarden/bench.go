package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bench"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/simshop"
)

// nearConfig is a person's shop file in the folder where they stand.
const nearConfig = "shop.yaml"

// benchFlags say where the bench is: this computer's own buses, a running daemon, or a simulated shop.
type benchFlags struct {
	config, socket string
	rehearse       bool
	speed          float64
}

func (f *benchFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.config, "config", "", "the shop file (default: shop.yaml here, else "+usualConfig+")")
	c.Flags().StringVar(&f.socket, "socket", "", "console socket of a running daemon (default: the shop file's)")
	c.Flags().BoolVar(&f.rehearse, "rehearse", false, "against a simulated shop: nothing real moves")
	c.Flags().Float64Var(&f.speed, "speed", 1, "with --rehearse: times real time")
}

func (f *benchFlags) check() error {
	if f.speed <= 0 || f.speed > 1000 || f.speed != f.speed {
		return usageError{fmt.Errorf("--speed %v cannot be: give 1 for real time, 10 for ten times as fast", f.speed)}
	}
	if f.rehearse && f.socket != "" {
		return usageError{errors.New("--rehearse and --socket do not go together: a rehearsal speaks to no daemon")}
	}
	return nil
}

// glance is how often the bench is looked at: oftener where time runs faster.
func (f *benchFlags) glance() time.Duration {
	if !f.rehearse {
		return usualGlance
	}
	return max(time.Duration(float64(usualGlance)/f.speed), 2*time.Millisecond)
}

const usualGlance = 100 * time.Millisecond

// path is the shop file that is meant.
func (f *benchFlags) path() string {
	if f.config != "" {
		return f.config
	}
	if isThere(nearConfig) {
		return nearConfig
	}
	return usualConfig
}

func isThere(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// benchShop is what the bench works with: a shop file as it is on disk, or one with an item more that is not written yet.
type benchShop struct {
	file  *config.Shop
	edits bench.File
	truth *config.Shop       // of a rehearsal, where it differs from the file: the metal knows its ends
	blank func(*bench.Parts) // takes out what nobody has found yet; nil: nothing
	own   bool               // no running daemon can know it
	play  scenery
}

// scenery is what happens in a rehearsal by itself, from a moment on; nil: nothing.
type scenery func(sim *simshop.Shop, machines int, from time.Duration)

// workbench is an open bench.
type workbench struct {
	bench.Desk
	where   string // in a sentence: what is used
	closers []func() error
}

// Close gives buses and lines back.
func (w *workbench) Close() error {
	var errs []error
	for i := len(w.closers) - 1; i >= 0; i-- {
		errs = append(errs, w.closers[i]())
	}
	return errors.Join(errs...)
}

// open finds the bench: the simulated shop, a running daemon, or this computer's buses.
func (f *benchFlags) open(ctx context.Context, s benchShop) (*workbench, error) {
	if f.rehearse {
		return f.openRehearsed(ctx, s)
	}
	socket := f.socket
	if socket == "" {
		socket = s.file.Console.Socket
	}
	client := api.Dial(socket)
	_, err := client.Snapshot(ctx)
	switch {
	case err == nil && s.own:
		return nil, fmt.Errorf("a daemon runs (it answers at %s) and has the buses: end it first, or name a gate or a machine of its shop file", socket)
	case err == nil:
		return &workbench{Desk: farBench{client}, where: "the running daemon at " + socket}, nil
	case f.socket != "" || !errors.Is(err, api.ErrNobody):
		return nil, err
	}
	return openOwn(ctx, s)
}

// openOwn takes this computer's buses, as the daemon would, and never goes on duty.
func openOwn(ctx context.Context, s benchShop) (*workbench, error) {
	held, err := lockBuses()
	if err != nil {
		return nil, err
	}
	w := &workbench{where: "this computer's buses", closers: []func() error{held.Close}}
	quiet(s.file)
	m, err := openMetal(s.file)
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	m.parts = nowhere{} // parts on the network belong to a running daemon
	w.closers = append(w.closers, m.Close)
	clock := loop.NewReal()
	d, err := wire(s.file, settings{scheduler: clock, wires: m, epoch: newBoot(), edits: s.edits, adapt: s.blank})
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	w.run(ctx, clock, d)
	return w, nil
}

// quiet keeps a shop from going on duty by itself or by the button on the wall.
func quiet(file *config.Shop) {
	file.Duty.OnDutyAfterPowerUp, file.Inputs.Ready = false, nil
}

// openRehearsed builds the simulated shop.
func (f *benchFlags) openRehearsed(ctx context.Context, s benchShop) (*workbench, error) {
	quiet(s.file)
	truth := s.truth
	if truth == nil {
		truth = s.file
	}
	_, models, err := compile(truth)
	if err != nil {
		return nil, err
	}
	clock := loop.NewVirtual(loop.AsFastAsMayBe)
	sim := simshop.New(truth, models, clock.Now, simshop.Options{Seed: 1})
	clock.Add("shop", "shop", sim)
	d, err := wire(s.file, settings{scheduler: clock, wires: simWires{sim}, epoch: "rehearsal", edits: s.edits, adapt: s.blank, hands: simHands{sim}})
	if err != nil {
		return nil, err
	}
	clock.Advance(ctx, warmUp)
	if s.play != nil {
		s.play(sim, len(s.file.Machines), clock.Now())
	}
	clock.SetSpeed(f.speed)
	w := &workbench{where: "a simulated shop: nothing real moves"}
	w.run(ctx, clock, d)
	return w, nil
}

// warmUp is what the converters take to find their bias.
const warmUp = 2 * time.Second

// run turns the shop until the bench is closed.
func (w *workbench) run(ctx context.Context, clock loop.Scheduler, d *daemon) {
	w.Desk = d.bench
	ctx, end := context.WithCancel(context.WithoutCancel(ctx)) // ends with Close, in order, also after Ctrl-C
	done := make(chan error, 1)
	go func() { done <- clock.Run(ctx) }()
	w.closers = append(w.closers, func() error {
		end()
		return <-done
	})
}

// loadBench loads the shop file for a verb that needs one.
func (f *benchFlags) loadBench() (benchShop, error) {
	path := f.path()
	file, err := config.Load(path)
	if err != nil {
		return benchShop{}, err
	}
	return benchShop{file: file, edits: keptFile{path}}, nil
}
