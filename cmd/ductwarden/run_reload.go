package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/plan"
	"ductwarden/controller/publish/metrics"
)

// tenure is the time in which one shop file is in force; laid are its planners, where they were laid out beforehand.
type tenure struct {
	file  *config.Shop
	clock loop.Scheduler
	left  *loop.Left   // what the one before left; nil: the program has just started
	was   *config.Shop // in force before, to fall back on; nil: nothing
	laid  []plan.Planner
	loop  *loop.Loop // once it runs
	end   context.CancelFunc
	next  *tenure // set before end is called
}

// keeper runs one shop file after the other.
type keeper struct {
	held       *os.File // the lock of the buses, see inforce.go
	stdout     io.Writer
	log        *slog.Logger
	supervisor *loop.Supervisor
	open       func(*config.Shop) (shopWires, error)
	clock      func(after loop.Scheduler) loop.Scheduler // a fresh one whose time goes on; after is nil at the start

	changing sync.Mutex // held while a shop file is being changed
	mu       sync.Mutex
	now      *tenure // nil: none runs
}

// realClock is the clock of a daemon on metal.
func realClock(after loop.Scheduler) loop.Scheduler {
	if r, ok := after.(*loop.Real); ok {
		return r.Next()
	}
	return loop.NewReal()
}

// begins notes that a loop runs.
func (k *keeper) begins(t *tenure, l *loop.Loop) {
	k.mu.Lock()
	defer k.mu.Unlock()
	t.loop, k.now = l, t
}

// ends notes that it has ended, and reports whether none takes its place.
func (k *keeper) ends(t *tenure) (last bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.now = nil
	return t.next == nil
}

// shopWires are wires that are given back.
type shopWires interface {
	wires
	lookAround(*slog.Logger) error
	source() metrics.Source
	through(partsBroker) // carries the messages of parts on the network
	Close() error
}

// keep runs a shop until ctx ends, and changes its file when it is asked to.
func (k *keeper) keep(ctx context.Context, file *config.Shop) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go k.hearHangUp(ctx)
	for t := (&tenure{file: file, clock: k.clock(nil)}); ; {
		err := k.run(ctx, t)
		switch {
		case t.next != nil && ctx.Err() == nil:
			if err != nil { // the old one ended badly; what it left is at rest all the same
				k.log.Error(err.Error())
			}
			t.next.clock = k.clock(t.clock)
			t = t.next
		case err != nil && t.loop == nil && t.was != nil && ctx.Err() == nil:
			k.log.Error(fmt.Sprintf("the changed shop file could not be put into force, the one before is again: %v", err))
			t = &tenure{file: t.was, clock: k.clock(t.clock), left: t.left}
		default:
			return err
		}
	}
}

// reload validates the shop file as a whole and puts it into force where the shop is at rest.
func (k *keeper) reload(ctx context.Context) error {
	if !k.changing.TryLock() {
		return errors.New("the shop file is being loaded already")
	}
	defer k.changing.Unlock()
	k.mu.Lock()
	t := k.now
	k.mu.Unlock()
	if t == nil || t.next != nil {
		return errors.New("the program is just starting; try again in a moment")
	}
	file, laid, err := k.weigh(t.file.Path)
	if err != nil {
		return fmt.Errorf("the shop file stays as it was: %w", err)
	}
	left, err := t.loop.Leave(ctx)
	if err != nil {
		return fmt.Errorf("the shop file stays as it was: %w", err)
	}
	k.mu.Lock()
	t.next = &tenure{file: file, left: &left, was: t.file, laid: laid}
	k.mu.Unlock()
	k.log.Info("the changed shop file takes effect: standing by until a person presses Ready", "file", file.Path)
	time.AfterFunc(answerFirst, t.end)
	return nil
}

// answerFirst is left between the word that a file is loaded anew and the end of who says it.
const answerFirst = 50 * time.Millisecond

// weigh reads the file and does everything with it that can be done without touching the shop. Its planners think here, beside
// the loop that still runs: between two loops nobody feeds the watchdog, and thinking may take a large shop long on a small
// board.
func (k *keeper) weigh(path string) (*config.Shop, []plan.Planner, error) {
	file, err := config.Load(path)
	if err != nil {
		return nil, nil, err
	}
	if _, err := wire(file, settings{scheduler: loop.NewVirtual(loop.AsFastAsMayBe), wires: &noting{}, look: true}); err != nil {
		return nil, nil, err
	}
	w, err := k.open(file)
	if err != nil {
		return nil, nil, err
	}
	if err := w.Close(); err != nil {
		return nil, nil, err
	}
	trees, models, err := compile(file)
	if err != nil {
		return nil, nil, err
	}
	laid, err := planners(file, trees, models)
	return file, laid, err
}

// hearHangUp takes the signal by which a service manager has the file loaded anew. Where a person has started the
// program at a terminal, the same signal says that the terminal is gone.
func (k *keeper) hearHangUp(ctx context.Context) {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	defer signal.Stop(c)
	for {
		select {
		case <-ctx.Done():
			return
		case <-c:
			if err := k.reload(ctx); err != nil {
				k.log.Error(err.Error())
			}
		}
	}
}

// endOnHangUp has a verb end when its terminal goes; the daemon of a service loads its shop file anew instead.
func endOnHangUp(c *cobra.Command) {
	if c.Name() == "run" && !term.IsTerminal(int(os.Stdin.Fd())) {
		return
	}
	ctx, _ := signal.NotifyContext(c.Context(), syscall.SIGHUP) //nolint:govet // it lasts as long as the program
	c.SetContext(ctx)
}

// resumed is the state that the loop before left, as this shop has it, where the collectors are still the same: then
// its rest and its starts go on. It goes through a checkpoint, so that a replay begins with the very same.
func resumed(left *loop.Left, shop *controller.Shop, book *scribe) (*controller.State, error) {
	ids := make([]string, 0, len(shop.Collectors))
	for _, c := range shop.Collectors {
		ids = append(ids, c.ID)
	}
	if !slices.Equal(ids, left.IDs) {
		return nil, nil
	}
	at := left.State.Now()
	key := left.State.Key(shop, nil)
	s, err := controller.Revive(shop, key, at)
	if err != nil {
		return nil, err
	}
	if book != nil {
		book.journal.Checkpoint(journal.Checkpoint{At: at, State: key})
	}
	return &s, nil
}

// reloadDesk takes the one request that concerns the program and not the shop.
type reloadDesk struct {
	api.Desk
	reload func(context.Context) error // nil: there is no file that could be loaded
}

// Ask implements api.Desk.
func (d reloadDesk) Ask(ctx context.Context, r api.Request) api.Answer {
	if r.Action != "reload" {
		return d.Desk.Ask(ctx, r)
	}
	err := errors.New("a rehearsal has no shop file that could be loaded anew: start it again")
	if d.reload != nil {
		err = d.reload(ctx)
	}
	if err != nil {
		return api.Answer{Reason: err.Error()}
	}
	return api.Answer{Accepted: true}
}

// reloadVerb has the daemon load its shop file anew.
func reloadVerb() *cobra.Command {
	return askVerb("reload", "reload", "Load the changed shop file, if the shop is at rest",
		"Has the running daemon read its shop file anew. The file is checked as a whole first; it takes effect only while\n"+
			"the shop is at rest: no machine runs, no gate moves, the collector stands, nobody is at the bench. Otherwise it is\n"+
			"refused with the reasons, and everything stays as it was. Nothing moves because of it: afterwards the shop is\n"+
			"standing by, every gate counts as unknown until it is seen, and a person presses Ready. SIGHUP does the same.",
		"the changed shop file is in force; standing by: look round, then `ductwarden ready`")
}
