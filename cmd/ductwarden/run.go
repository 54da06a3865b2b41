package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

// usualConfig is where the service keeps its shop file.
const usualConfig = "/etc/ductwarden/shop.yaml"

func runVerb() *cobra.Command {
	var path string
	c := &cobra.Command{
		Use:   "run",
		Short: "Run the shop on this computer's buses and lines",
		Long: "Runs the shop: watches the machines, moves the gates, switches the collector. After power-up nothing moves until\n" +
			"a person presses Ready (button, page, or `ductwarden ready`). Ctrl-C or SIGTERM drives the start lines off and\n" +
			"leaves the gates as they are. SIGHUP, or `ductwarden reload`, loads a changed shop file where the shop is at rest.\n" +
			"Gates and collector may move at any time without warning while it is on duty.",
		Example: "  ductwarden run --config shop.yaml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			file, err := config.Load(path)
			if err != nil {
				return err
			}
			return runShop(c.Context(), file, c.OutOrStdout(), newLog(c.ErrOrStderr()))
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	return c
}

// runShop runs the daemon until the context ends.
func runShop(ctx context.Context, file *config.Shop, stdout io.Writer, log *slog.Logger) error {
	held, err := lockBuses()
	if err != nil {
		return err
	}
	defer held.Close()
	k := &keeper{held: held, stdout: stdout, log: log, supervisor: loop.NewSupervisor(), clock: realClock,
		open: func(file *config.Shop) (shopWires, error) { return openMetal(file) }}
	if err := k.keep(ctx, file); err != nil {
		return err
	}
	return forgetInForce(held) // an end in order has driven the lines off
}

// run runs the shop under one shop file, until the context ends or another file takes its place. What is missing on
// this computer is found before any line is taken, so that nothing has moved when it returns with an error at the
// start.
func (k *keeper) run(ctx context.Context, t *tenure) (err error) {
	ctx, t.end = context.WithCancel(ctx)
	defer t.end()
	file, log, clock := t.file, k.log, t.clock
	wires, err := k.open(file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, wires.Close()) }()
	if err := wires.lookAround(log); err != nil {
		return err
	}
	socket, err := api.Listen(file.Console.Socket)
	if err != nil {
		return err
	}
	defer socket.Close()

	starts, before := openStarts(file, log)
	book := openJournal(file, log)
	if book != nil {
		defer book.Close()
	}
	boot := newBoot()
	seed := lifetime(file.Journal.Path, log)
	network, unpublished := openBroker(file, seed, clock.Now, boot, log)
	if unpublished != nil { // the shop is worked without it, unless a part of the shop hangs on it
		log.Error(unpublished.Error() + "; nothing is published until that is put right and the program started again")
	}
	if network != nil {
		wires.through(network.service.Link())
	}
	counted, err := newFigures(seed, network, wires.source())
	if err != nil {
		return err
	}
	if err := noteInForce(k.held, file.Text); err != nil { // before the first line is taken
		log.Warn(err.Error())
	}
	d, err := wire(file, settings{
		scheduler: clock, wires: wires, epoch: boot, starts: starts, before: before, feed: k.supervisor.Feed, scribe: book, left: t.left, laid: t.laid,
		scanned: counted.scanned, edits: keptFile{file.Path}, changed: func(err error) { tellStarts(log, err) }, trouble: tellTrouble(ctx, log),
	})
	if err != nil {
		if unpublished != nil && errors.Is(err, errNoBroker) {
			return unpublished
		}
		return err
	}
	store, err := access.Open(file.Page.Access, time.Now)
	if err != nil {
		return err
	}
	d.furnish(store, keptFile{file.Path}, book)
	d.reload = k.reload
	d.askCautions()
	for _, l := range d.leaves {
		log.Info("when this program dies with the motor running, " + l)
	}
	console := serveConsole(socket, d)
	defer console.Close()
	if file.Page.Listen != "" { // listen: off
		page, err := servePage(d, pageParts{figures: counted.Handler(), around: beside(network, unpublished, book)})
		if err != nil {
			return err
		}
		defer page.Close()
		if page.Code != "" {
			log.Info("no password is set for the page", "set-up code", page.Code, "page", page.URL)
		}
	}
	counted.follow(ctx, d.loop)
	defer counted.Close()
	if book != nil {
		book.follow(ctx, d.loop)
	}
	if network != nil {
		// outlives ctx: a collector's socket must still be told OFF when the loop halts; Close ends it
		network.follow(context.WithoutCancel(ctx), d.loop, log)
		defer network.Close()
	}
	go announce(ctx, d, k.supervisor, k.stdout)
	k.begins(t, d.loop)
	err = clock.Run(ctx)
	if k.ends(t) {
		k.supervisor.Stopping()
		log.Info("ended: the start lines are off, the gates stay as they are")
	}
	return err
}

// openStarts opens the file of starts. Without it starts are counted pessimistically, which is said.
func openStarts(file *config.Shop, log *slog.Logger) (*loop.Starts, loop.Restored) {
	var medium loop.Medium
	f, err := loop.OpenStarts(file.Starts)
	if err != nil {
		log.Warn(err.Error())
		medium = &loop.Memory{}
	} else {
		medium = f
	}
	s, before, err := loop.RestoreStarts(medium, loop.MachineClock{}, budgets(file))
	tellStarts(log, err)
	if before.Why != "" {
		log.Warn(before.Why)
	}
	return s, before
}

func tellStarts(log *slog.Logger, err error) {
	if err != nil {
		log.Error(err.Error())
	}
}

// announce says that the first scan is done.
func announce(ctx context.Context, d *daemon, s *loop.Supervisor, stdout io.Writer) {
	w := d.loop.Snapshots().Watch()
	defer w.Close()
	select {
	case <-ctx.Done():
		return
	case <-w.Changed():
	}
	fmt.Fprintf(stdout, "%s: running, console at %s. Ready is pressed by a person who has looked that no hand is in a gate.\n", d.file.Name, d.file.Console.Socket)
	s.Ready(plainWord(w.Latest().Mode))
}

// tellTrouble writes what chips do wrong to the log, from a goroutine of its own: a lane never waits for a log.
func tellTrouble(ctx context.Context, log *slog.Logger) func(chip string, err error) {
	type said struct {
		chip string
		err  error
	}
	queue := make(chan said, 64)
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case s := <-queue:
				if s.err == nil {
					log.Info(s.chip + " works again")
				} else {
					log.Error(s.err.Error())
				}
			}
		}
	}()
	return func(chip string, err error) {
		select {
		case queue <- said{chip, err}:
		default: // so many at once that nobody reads them; the snapshot has them all
		}
	}
}
