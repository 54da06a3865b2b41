package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/current"
	"ductwarden/gates"
)

// replayVerb plays recorded currents through the same detection and control, or a journal through the same control.
func replayVerb() *cobra.Command {
	var traces []string
	var asJSON, tell bool
	var book string
	var run int64
	c := &cobra.Command{
		Use:   "replay SHOP --trace MACHINE=FILE | --journal FILE",
		Short: "Play recorded currents through the same detection and control",
		Long: "Plays instantaneous currents, recorded as CSV with the header t_s,current_a and rising time, to the machines\n" +
			"of a shop file. The shop starts on duty with every machine idle; gates and collectors answer as in a shop without\n" +
			"faults; after its last sample a trace counts as quiet. The same files give the same bytes, on every processor.\n\n" +
			"With --journal, plays the events of one run of the program, as its journal has them, through the same control\n" +
			"with the shop file that is stored there and the plans that were made then: every step must give the stored\n" +
			"effects, byte for byte. Where some could not be written it says so and goes on at the next checkpoint; where\n" +
			"this program's own planner would choose otherwise, that is said too.",
		Example: `  ductwarden replay shop.yaml --trace "thickness planer=planer.csv" --trace lathe=lathe.csv --json` + "\n" +
			"  ductwarden replay --journal /var/lib/ductwarden/journal.db --tell",
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case book != "" && (len(args) > 0 || len(traces) > 0):
				return usageError{fmt.Errorf("--journal needs neither a shop file nor a trace: both are in the journal")}
			case book != "":
				return replayRun(book, run, tell, asJSON, c.OutOrStdout())
			case len(args) == 0:
				return usageError{fmt.Errorf("replay needs a shop file and a --trace, or a --journal")}
			}
			if len(traces) == 0 {
				return usageError{fmt.Errorf("replay needs at least one --trace MACHINE=FILE")}
			}
			file, err := config.Load(args[0])
			if err != nil {
				return err
			}
			byMachine := map[int]*trace{}
			for _, t := range traces {
				name, path, ok := strings.Cut(t, "=")
				if !ok {
					return usageError{fmt.Errorf("--trace %q is not MACHINE=FILE", t)}
				}
				m, err := findMachine(file, name)
				if err != nil {
					return err
				}
				if byMachine[m] != nil {
					return usageError{fmt.Errorf("machine %q has two traces: give it one", name)}
				}
				if byMachine[m], err = readTrace(path); err != nil {
					return err
				}
			}
			events, err := replay(c.Context(), file, byMachine)
			if err != nil {
				return err
			}
			if asJSON {
				return writeReplay(c.OutOrStdout(), events)
			}
			for _, e := range events {
				proof := ""
				if e.Proved != nil && *e.Proved {
					proof = " (proved)"
				}
				if _, err := fmt.Fprintf(c.OutOrStdout(), "%10.3f s  %-9s  %s: %s%s\n", e.T, e.Kind, e.Name, strings.ReplaceAll(e.To, "_", " "), proof); err != nil {
					return err
				}
			}
			return nil
		},
	}
	c.Flags().StringArrayVar(&traces, "trace", nil, "a machine's name or id and its recording (repeatable)")
	c.Flags().StringVar(&book, "journal", "", "play a run of this journal")
	c.Flags().Int64Var(&run, "run", 0, "number of the run (default the newest)")
	c.Flags().BoolVar(&tell, "tell", false, "with --journal, print each event and what it caused")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

func findMachine(file *config.Shop, name string) (int, error) {
	var names []string
	for i, m := range file.Machines {
		if m.Name == name || m.ID == name {
			return i, nil
		}
		names = append(names, fmt.Sprintf("%q", m.Name))
	}
	return 0, fmt.Errorf("there is no machine %q in the shop file; it has %s", name, strings.Join(names, ", "))
}

// replayEvent is one line of what happened.
type replayEvent struct {
	T      float64 `json:"t_s"`
	Kind   string  `json:"kind"` // mode, machine, gate, collector, alarm
	Name   string  `json:"name"`
	To     string  `json:"to"`
	Proved *bool   `json:"proved,omitempty"` // of gates
}

func writeReplay(w io.Writer, events []replayEvent) error {
	if events == nil {
		events = []replayEvent{}
	}
	b, err := json.Marshal(map[string]any{"events": events})
	if err != nil {
		return err
	}
	// One event a line, so that two runs can be compared by eye.
	text := strings.ReplaceAll(string(b), `},{"t_s"`, "},\n {\"t_s\"")
	_, err = fmt.Fprintln(w, text)
	return err
}

const (
	replayLead = 10 * time.Minute // before the traces begin: the motor has had its rest, Ready is pressed
	quietLead  = 2 * time.Second  // of it with samples of quiet: beliefs settle
	replayTail = 2 * time.Hour    // longest time after the traces' end until all has come to rest
)

// replay runs the shop and returns what changed, times from the beginning of the traces.
func replay(ctx context.Context, file *config.Shop, traces map[int]*trace) ([]replayEvent, error) {
	trees, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	thinkers, err := planners(file, trees, models)
	if err != nil {
		return nil, err
	}
	shop, err := file.Core(thinkers)
	if err != nil {
		return nil, err
	}
	v := loop.NewVirtual(loop.AsFastAsMayBe)
	parts := loop.Parts{Shop: shop, Scheduler: v, Air: modelled(file, trees, models), Alarms: newAlarms(shop, file)}
	end := time.Duration(0)
	for i := range shop.Machines {
		m := &shop.Machines[i]
		t := traces[i]
		if t == nil && !m.Sensed {
			continue
		}
		m.Sensed = true
		meter := &traceMeter{name: "recording of " + m.Name, trace: t}
		if t != nil {
			running, idle, hold, err := thresholds(file, i)
			if err != nil {
				return nil, err
			}
			set := current.TraceSettings(running, idle)
			set.Hold = hold
			if meter.detector, err = current.NewDetector(set); err != nil {
				return nil, named("machine", m.Name, err)
			}
			end = max(end, t.end())
		}
		parts.Chips = append(parts.Chips, loop.Chip{Lane: "recordings", Name: meter.name, Poll: meter.Poll,
			Meters: []loop.Meter{{Meter: meter, Machines: gates.Of(i), Collector: -1}}})
	}
	ideal := &idealShop{file: file, clock: v.Now}
	ideal.build(shop, &parts)
	l, err := loop.New(parts)
	if err != nil {
		return nil, err
	}
	teller := &teller{loop: l}
	v.Add(loop.Core, "teller", loop.TaskFunc(func(now time.Duration) time.Duration {
		teller.look()
		return now + time.Millisecond
	}))
	v.Advance(ctx, replayLead-quietLead/2)
	l.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole})
	v.Advance(ctx, replayLead)
	if s := l.Snapshots().Latest(); s == nil || s.Mode != "on_duty" {
		return nil, fmt.Errorf("the shop did not go on duty: %s", dutyWhy(s))
	}
	teller.begin()
	v.Advance(ctx, replayLead+end)
	for until := replayLead + end; until < replayLead+end+replayTail; until += time.Second {
		v.Advance(ctx, until)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if until > replayLead+end+5*time.Second && atRest(l.Snapshots().Latest()) {
			break
		}
	}
	return teller.events, ctx.Err()
}

func dutyWhy(s *controller.Snapshot) string {
	if s == nil {
		return "it never answered"
	}
	return s.Why
}

// atRest reports that nothing runs and nothing is about to.
func atRest(s *controller.Snapshot) bool {
	for _, m := range s.Machines {
		if m.State == "running" || m.State == "running_down" {
			return false
		}
	}
	for _, g := range s.Gates {
		if g.State == "opening" || g.State == "closing" {
			return false
		}
	}
	for _, c := range s.Collectors {
		if c.Phase != "off" && c.Phase != "start_failed" && c.Phase != "by_hand" {
			return false
		}
	}
	return true
}

// thresholds are a machine's levels in mA, from its clamp.
func thresholds(file *config.Shop, machine int) (running, idle int32, hold time.Duration, err error) {
	for _, s := range file.Machines[machine].Sensors {
		if s.Clamp != nil {
			return milliamperes(s.Clamp.Running), milliamperes(s.Clamp.Idle), s.Clamp.Settle, nil
		}
	}
	return 0, 0, 0, fmt.Errorf("machine %q has no clamp in the shop file, so nothing says from which current it runs: give it one, with running and idle levels", file.Machines[machine].Name)
}

// traceMeter plays a recording to a detector, each sample at its own time; without a recording it is idle.
type traceMeter struct {
	name     string
	trace    *trace
	detector *current.Detector
	next     int
}

// Poll gives the detector what is due.
func (m *traceMeter) Poll(now time.Duration) (time.Duration, error) {
	if m.detector == nil {
		return 0, nil
	}
	for {
		at, mA := m.sample()
		if at > now {
			m.detector.Tick(now)
			return at, nil
		}
		m.detector.Add(at, mA)
		m.step()
	}
}

// quietStep is the time between samples of quiet, before a trace and after it.
const quietStep = time.Millisecond

// sample is the next one: quiet before the traces begin, the recording, and quiet after it.
func (m *traceMeter) sample() (time.Duration, int32) {
	lead := int(quietLead / quietStep)
	switch {
	case m.next < lead:
		return replayLead - quietLead + time.Duration(m.next+1)*quietStep, 0
	case m.next-lead < len(m.trace.at):
		i := m.next - lead
		return replayLead + m.trace.at[i] + 1, m.trace.mA[i] // a nanosecond behind the last of the quiet
	}
	return replayLead + m.trace.end() + time.Duration(m.next-lead-len(m.trace.at)+1)*quietStep, 0
}

func (m *traceMeter) step() { m.next++ }

// Belief is what the detector believes.
func (m *traceMeter) Belief() current.Belief {
	if m.detector == nil {
		return current.Idle
	}
	return m.detector.Belief()
}

// Health is the detector's.
func (m *traceMeter) Health() current.Health {
	if m.detector == nil {
		return current.Good
	}
	return m.detector.Health()
}

// RMS is the detector's.
func (m *traceMeter) RMS() (int32, bool) {
	if m.detector == nil {
		return 0, false
	}
	return m.detector.RMS()
}

// String names the recording.
func (m *traceMeter) String() string { return m.name }

// teller turns snapshots into the list of changes.
type teller struct {
	loop   *loop.Loop
	last   *controller.Snapshot
	on     bool
	events []replayEvent
}

// begin starts the list: what is now is taken as known, but for the mode.
func (t *teller) begin() {
	t.on = true
	t.last = t.loop.Snapshots().Latest()
	t.events = append(t.events, replayEvent{0, "mode", "shop", t.last.Mode, nil})
}

// look compares the newest snapshot with the one before: events of one step share their time, in the order
// mode, machine, gate, collector, alarm.
func (t *teller) look() {
	s := t.loop.Snapshots().Latest()
	if !t.on || s == nil || s == t.last {
		return
	}
	p := t.last
	t.last = s
	at := float64(s.AtMS-int64(replayLead/time.Millisecond)) / 1000
	add := func(kind, name, was, to string, proved *bool) {
		if was != to {
			t.events = append(t.events, replayEvent{at, kind, name, to, proved})
		}
	}
	add("mode", "shop", p.Mode, s.Mode, nil)
	for i, m := range s.Machines {
		add("machine", m.Name, p.Machines[i].State, m.State, nil)
	}
	for i, g := range s.Gates {
		proved := g.Proved
		add("gate", g.Name, p.Gates[i].State, g.State, &proved)
	}
	for i, c := range s.Collectors {
		add("collector", c.Name, p.Collectors[i].Phase, c.Phase, nil)
	}
	for _, a := range s.Alarms {
		was := alarmIn(p, a.Key)
		if a.Active && (was == nil || !was.Active) {
			add("alarm", a.Key, "", "raised", nil)
		}
		if !a.Active && was != nil && was.Active {
			add("alarm", a.Key, "", "gone", nil)
		}
	}
	for _, a := range p.Alarms {
		if a.Active && alarmIn(s, a.Key) == nil {
			add("alarm", a.Key, "", "gone", nil)
		}
	}
}

func alarmIn(s *controller.Snapshot, key string) *controller.AlarmSnapshot {
	for i := range s.Alarms {
		if s.Alarms[i].Key == key {
			return &s.Alarms[i]
		}
	}
	return nil
}

// openFile opens a file that a person named, with a sentence for what can be wrong.
func openFile(path string) (*os.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%w; check the name and the folder", err)
	}
	return f, nil
}
