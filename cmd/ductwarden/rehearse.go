package main

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/publish"
)

//go:embed rehearse_shop.yaml
var demoShop []byte

// usualSpeed lets a morning pass in about two minutes, and the first machine start within two seconds.
const usualSpeed = 10

// rehearsal is what the person asked for.
type rehearsal struct {
	speed          float64
	forever, plain bool
	json, print    bool
	page, socket   string
	scriptFile     string
	update         bool
	seed           uint64
}

func rehearseVerb() *cobra.Command {
	var r rehearsal
	c := &cobra.Command{
		Use:   "rehearse [FILE]",
		Short: "Run the whole daemon against a simulated shop",
		Long: "Runs the whole daemon - drivers, detection, control, page - against a simulated shop: motors, servos, ducts, fan\n" +
			"and the chips in between, down to their registers. Without FILE it plays a morning in a boat shed. Nothing real\n" +
			"moves: no bus and no line of this computer is touched.",
		Example: "  ductwarden rehearse\n  ductwarden rehearse --script day.txt\n  ductwarden rehearse --speed 60 shop.yaml\n  ductwarden rehearse --print > shop.yaml",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if r.print {
				_, err := c.OutOrStdout().Write(demoShop)
				return err
			}
			if r.scriptFile != "" {
				if len(args) > 0 {
					return usageError{fmt.Errorf("a script names its shop file itself: leave out %s", args[0])}
				}
				return r.script(c.OutOrStdout())
			}
			if r.update {
				return usageError{fmt.Errorf("--update goes with --script")}
			}
			if r.speed < 0 || r.speed > 10_000 || r.speed != r.speed {
				return usageError{fmt.Errorf("--speed %v cannot be: give 1 for real time, 60 for a minute in a second, 0 for as fast as may be", r.speed)}
			}
			if r.forever && (r.json || r.speed == 0) {
				return usageError{fmt.Errorf("--forever has no end: leave out --json, and give a --speed above 0")}
			}
			file, err := rehearsedShop(args)
			if err != nil {
				return err
			}
			return r.run(c.Context(), file, len(args) == 0, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.Float64Var(&r.speed, "speed", usualSpeed, "times real time; 1 is real time, 0 as fast as may be")
	f.BoolVar(&r.forever, "forever", false, "begin again at the end of the story")
	f.BoolVar(&r.plain, "plain", false, "plain lines also on a terminal")
	f.BoolVar(&r.json, "json", false, "print only the summary, as JSON")
	f.BoolVar(&r.print, "print", false, "print the boat shed's shop file and end")
	f.StringVar(&r.page, "page", "", "address of the page, or `off` (default: the shop file's)")
	f.StringVar(&r.socket, "socket", "", "serve the console here, for ductwarden status --socket")
	f.StringVar(&r.scriptFile, "script", "", "play a script against the control and compare what it says must happen")
	f.BoolVar(&r.update, "update", false, "write what happens into the script")
	f.Uint64Var(&r.seed, "seed", 1, "of the simulated noise")
	return c
}

// rehearsedShop is the person's shop, or the boat shed.
func rehearsedShop(args []string) (*config.Shop, error) {
	if len(args) == 0 {
		return config.Parse("the boat shed", bytes.NewReader(demoShop))
	}
	return config.Load(args[0])
}

// run plays the story to its end, or until the context ends.
func (r rehearsal) run(ctx context.Context, file *config.Shop, ours bool, stdout, stderr io.Writer) error {
	live := !r.plain && !r.json && r.speed > 0 && isTerminal(stdout)
	book, forget, err := r.journal(file)
	if err != nil {
		return err
	}
	defer forget()
	t, err := newTheatreTold(ctx, file, r.seed, loop.OrderlyEnd, book)
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		return nil
	}
	story := anyMorning(file)
	if ours {
		story = morning()
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	r.schedule(t, t.begin, story, end)
	greeting, closers, err := r.open(t, book)
	for _, c := range closers {
		defer c.Close()
	}
	if err != nil {
		return err
	}
	if !r.json && !live {
		fmt.Fprintf(stdout, "%s, simulated at %s. No bus and no line of this computer is touched.%s\n", file.Name, pace(r.speed), greeting)
		t.narrator.out = plainLines(t, stdout, end)
	}
	t.clock.SetSpeed(r.speed)
	var drawn sync.WaitGroup
	drawing, endDrawing := context.WithCancel(ctx)
	if live {
		drawn.Go(func() { r.draw(drawing, t, stdout.(*os.File), greeting) })
	}
	err = t.clock.Run(ctx)
	endDrawing()
	drawn.Wait()
	if err != nil {
		return err
	}
	sum := t.score.sum()
	if r.json {
		e := json.NewEncoder(stdout)
		e.SetIndent("", "  ")
		return e.Encode(sum)
	}
	sum.print(stdout)
	return nil
}

// schedule plays the story once, or again and again.
func (r rehearsal) schedule(t *theatre, from time.Duration, story []beat, end func()) {
	t.play(from, story)
	last := from + story[len(story)-1].at
	t.sim.At(last, func() {
		if r.forever {
			r.schedule(t, last+10*time.Second, story, end)
			return
		}
		end()
	})
}

// paged reports whether the page is served.
func (r rehearsal) paged() bool { return r.page != "off" && !r.json && r.speed > 0 }

// journal is a journal of the rehearsal alone, for the page's history; the shop file's own is not touched. It is
// forgotten at the end.
func (r rehearsal) journal(file *config.Shop) (book *scribe, forget func(), err error) {
	if !r.paged() {
		return nil, func() {}, nil
	}
	dir, err := os.MkdirTemp("", "ductwarden-rehearsal-*")
	if err != nil {
		return nil, nil, fmt.Errorf("the rehearsal's journal: %w; make room in the folder for temporary files, or rehearse with --page off", err)
	}
	file.Journal = config.Journal{Path: filepath.Join(dir, "journal.db")}
	book = openJournal(file, slog.New(slog.DiscardHandler))
	return book, func() {
		if book != nil {
			book.Close()
		}
		os.RemoveAll(dir)
	}, nil
}

// open serves the page and the console where they are wanted, and says where.
func (r rehearsal) open(t *theatre, book *scribe) (greeting string, closers []io.Closer, err error) {
	store, err := access.Open("", time.Now)
	if err != nil {
		return "", nil, err
	}
	t.furnish(store, t.paper, book)
	if book != nil {
		book.follow(context.Background(), t.loop) // until Close
	}
	if r.paged() {
		if r.page != "" {
			t.file.Page.Listen = r.page
		}
		f, err := newFigures(&publish.Totals{}, nil)
		if err != nil {
			return "", nil, err
		}
		p, err := servePage(t.daemon, pageParts{figures: f.Handler(), rehearsal: true})
		if err != nil {
			return "", nil, err
		}
		f.follow(context.Background(), t.loop) // until Close
		closers = append(closers, p, f)
		greeting = " The page: " + p.URL
		if p.Code != "" {
			greeting += " with set-up code " + p.Code
		}
	}
	if r.socket != "" {
		l, err := api.Listen(r.socket)
		if err != nil {
			return "", closers, err
		}
		closers = append(closers, serveConsole(l, t.daemon))
	}
	return greeting, closers, nil
}

// pace says how fast a rehearsal runs.
func pace(speed float64) string {
	switch speed {
	case 0:
		return "full speed"
	case 1:
		return "real time"
	}
	return fmt.Sprintf("%gx", speed)
}

// isTerminal reports whether a live view can be drawn on w.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb"
}

// plainLines writes lines as they come. A reader that has gone ends the rehearsal.
func plainLines(t *theatre, w io.Writer, end func()) func(toldLine) {
	return func(l toldLine) {
		indent := "    "
		if l.kind == lineStory || l.kind == lineAlarm {
			indent = ""
		}
		if _, err := fmt.Fprintf(w, "%s  %s%s\n", t.timeOfDay(l.at), indent, l.text); err != nil {
			end()
		}
	}
}

// Control sequences of a terminal (ECMA-48, and the alternate screen that every terminal in use has).
const (
	screenOn  = "\x1b[?1049h\x1b[?25l"
	screenOff = "\x1b[?25h\x1b[?1049l"
	homeward  = "\x1b[H"
	clearEnd  = "\x1b[K"
	clearDown = "\x1b[J"
	frames    = 8 // a second
)

// draw shows the live view until the context ends. What it shows it reads from the hub: the loop never waits for it.
func (r rehearsal) draw(ctx context.Context, t *theatre, f *os.File, greeting string) {
	p := paint{colour: os.Getenv("NO_COLOR") == "", blocks: speaksUTF8()}
	fmt.Fprint(f, screenOn)
	defer fmt.Fprint(f, screenOff)
	tick := time.NewTicker(time.Second / frames)
	defer tick.Stop()
	for {
		if snap := t.loop.Snapshots().Latest(); snap != nil {
			if _, err := io.WriteString(f, r.frame(t, snap, p, f, greeting)); err != nil {
				return
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// frame is one picture for the terminal's present size.
func (r rehearsal) frame(t *theatre, snap *controller.Snapshot, p paint, f *os.File, greeting string) string {
	width, height, err := term.GetSize(int(f.Fd()))
	if err != nil || width < 20 || height < 5 {
		width, height = 80, 24
	}
	s := scene{
		snap: snap, clock: t.timeOfDay(time.Duration(snap.AtMS) * time.Millisecond), pace: pace(r.speed), us: isUS(t.file),
		lines: t.narrator.newest(height), stamp: func(l toldLine) string { return t.timeOfDay(l.at) },
	}
	lines := render(s, p, width, height-2)
	var b strings.Builder
	b.WriteString(homeward)
	for _, l := range lines {
		b.WriteString(l + clearEnd + "\r\n")
	}
	b.WriteString(clearDown)
	fmt.Fprintf(&b, "\x1b[%d;1H%s", height, p.faint(cut("Simulated: nothing real moves. Ctrl-C ends."+greeting, width)))
	return b.String()
}

// speaksUTF8 reports whether the terminal is set to take block characters.
func speaksUTF8() bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := os.Getenv(name); v != "" {
			u := strings.ToUpper(v)
			return strings.Contains(u, "UTF-8") || strings.Contains(u, "UTF8")
		}
	}
	return os.Getenv("WT_SESSION") != "" || os.Getenv("TERM_PROGRAM") != ""
}
