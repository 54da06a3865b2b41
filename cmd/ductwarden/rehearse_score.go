package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"ductwarden/controller"
)

// scoreEvery is how often the score is kept.
const scoreEvery = 250 * time.Millisecond

// score sums up a rehearsal from what the daemon publishes, as a bystander could.
type score struct {
	t        *theatre
	last     time.Duration
	machines []machineScore
	alarms   map[string]bool
	raised   int
	worst    *float64
	weakest  string
	names    words
}

// machineScore is one machine's part of the summary.
type machineScore struct {
	Name    string   `json:"name"`
	RunS    float64  `json:"run_s"`
	AirS    float64  `json:"with_air_s"` // of the time run, with its gate open and the collector carrying
	Starts  int      `json:"starts"`
	Moves   int      `json:"gate_moves"`
	Alarms  int      `json:"alarms"`
	Margin  *float64 `json:"worst_margin"`
	running bool
}

func newScore(t *theatre) *score {
	s := &score{t: t, alarms: map[string]bool{}, names: words{t.shop}}
	for _, m := range t.file.Machines {
		s.machines = append(s.machines, machineScore{Name: m.Name})
	}
	return s
}

// Poll implements loop.Task.
func (s *score) Poll(now time.Duration) time.Duration {
	if snap := s.t.loop.Snapshots().Latest(); snap != nil && now > s.t.begin {
		s.keep(snap, now-s.last)
	}
	s.last = now
	return now + scoreEvery
}

func (s *score) keep(snap *controller.Snapshot, step time.Duration) {
	settled := !gatesMove(snap)
	for i := range snap.Collectors {
		c := &snap.Collectors[i]
		if settled && c.Margin != nil && (s.worst == nil || *c.Margin < *s.worst) {
			s.worst, s.weakest = c.Margin, ductName(snap, c.Weakest)
		}
	}
	for i := range snap.Machines {
		s.machine(&s.machines[i], &snap.Machines[i], s.collectors(i, snap), settled, step)
	}
	now := map[string]bool{}
	for _, a := range snap.Alarms {
		if !a.Active {
			continue
		}
		now[a.Key] = true
		if !s.alarms[a.Key] {
			s.raised++
			s.blame(a.Key)
		}
	}
	s.alarms = now
}

// collectors are those that a machine calls.
func (s *score) collectors(m int, snap *controller.Snapshot) []*controller.CollectorSnapshot {
	var out []*controller.CollectorSnapshot
	for c := range s.t.shop.Machines[m].Collectors.All() {
		if c < len(snap.Collectors) {
			out = append(out, &snap.Collectors[c])
		}
	}
	return out
}

func (s *score) machine(m *machineScore, now *controller.MachineSnapshot, collectors []*controller.CollectorSnapshot, settled bool, step time.Duration) {
	running := now.State == "running"
	if running && !m.running {
		m.Starts++
	}
	m.running = running
	if !running {
		return
	}
	m.RunS += step.Seconds()
	carried := true
	for _, c := range collectors {
		if c.Margin == nil {
			continue
		}
		if settled && (m.Margin == nil || *c.Margin < *m.Margin) {
			m.Margin = c.Margin
		}
		carried = carried && c.Transport == "carries"
	}
	if now.AirReady && !now.Unserved && carried {
		m.AirS += step.Seconds()
	}
}

// gatesMove reports whether a gate is on its way: until it has arrived the air is neither the old nor the new.
func gatesMove(s *controller.Snapshot) bool {
	for i := range s.Gates {
		if s.Gates[i].State == "opening" || s.Gates[i].State == "closing" {
			return true
		}
	}
	return false
}

// blame counts an alarm for the machine that it concerns, or for those whose gate it concerns.
func (s *score) blame(key string) {
	_, subject, _ := strings.Cut(key, "/")
	for i, m := range s.t.shop.Machines {
		mine := m.ID == subject
		for g := range m.Needs.All() {
			mine = mine || strings.HasPrefix(key, "gate") && s.t.shop.Gates[g].ID == subject
		}
		if mine {
			s.machines[i].Alarms++
		}
	}
}

// summary is what a rehearsal has come to.
type summary struct {
	Shop        string         `json:"shop"`
	Minutes     float64        `json:"minutes"`
	Machines    []machineScore `json:"machines"`
	Starts      int            `json:"collector_starts"`
	Moves       int            `json:"gate_moves"`
	Alarms      int            `json:"alarms"`
	WorstMargin *float64       `json:"worst_margin"`
	Weakest     string         `json:"weakest_duct,omitempty"`
	Missed      int64          `json:"missed_scans"`
}

// sum closes the score. The scheduler must have stopped.
func (s *score) sum() summary {
	out := summary{Shop: s.t.file.Name, Minutes: (s.t.clock.Now() - s.t.begin).Minutes(), Alarms: s.raised, WorstMargin: s.worst, Weakest: s.weakest, Missed: s.t.loop.Stats().Missed}
	for c := range s.t.file.Collectors {
		out.Starts += s.t.sim.Starts(c)
	}
	moves := make([]int, len(s.t.file.Gates))
	for g := range moves {
		moves[g] = s.t.sim.Strokes(g)
		out.Moves += moves[g]
	}
	for i := range s.machines {
		m := s.machines[i]
		for g := range s.t.shop.Machines[i].Needs.All() {
			m.Moves += moves[g]
		}
		out.Machines = append(out.Machines, m)
	}
	return out
}

// print writes the summary as a table.
func (s summary) print(w io.Writer) {
	fmt.Fprintf(w, "\n%s, %.0f minutes\n\n", s.Shop, s.Minutes)
	wide := 8
	for _, m := range s.Machines {
		wide = max(wide, len([]rune(m.Name)))
	}
	fmt.Fprintf(w, "  %-*s  %8s  %8s  %6s  %10s  %6s  %12s\n", wide, "machine", "ran", "with air", "starts", "gate moves", "alarms", "worst margin")
	for _, m := range s.Machines {
		air := "-"
		if m.RunS > 0 {
			air = fmt.Sprintf("%.0f %%", 100*m.AirS/m.RunS)
		}
		fmt.Fprintf(w, "  %-*s  %4.1f min  %8s  %6d  %10d  %6d  %12s\n", wide, m.Name, m.RunS/60, air, m.Starts, m.Moves, m.Alarms, percent(m.Margin))
	}
	fmt.Fprintf(w, "\n  collector: %s; gates moved %s; alarms: %d; worst margin: %s", times(s.Starts, "start"), times(s.Moves, "time"), s.Alarms, percent(s.WorstMargin))
	if s.Weakest != "" {
		fmt.Fprintf(w, " (%s)", s.Weakest)
	}
	fmt.Fprintln(w)
}

func percent(x *float64) string {
	if x == nil {
		return "-"
	}
	return fmt.Sprintf("%+.0f %%", *x*100)
}

func times(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
