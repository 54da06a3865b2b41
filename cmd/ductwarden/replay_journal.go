package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/plan"
)

// retold is what a replay of a run found.
type retold struct {
	journal.Run
	Shop        string        `json:"shop"`
	Replayed    int           `json:"replayed"` // events that went through the core again
	Effects     int           `json:"effects"`  // that it gave
	Answers     int           `json:"answers"`  // stored answers of the planner that were used
	Checkpoints int           `json:"checkpoints"`
	Gaps        []journal.Gap `json:"gaps"`
	Skipped     int           `json:"skipped"` // events between a gap and the checkpoint after it
	Differs     []difference  `json:"differs"`
	Plans       []otherPlan   `json:"plans"`
	PlansDiffer int           `json:"plans_differ"`
}

// difference is a step whose effects are not the stored ones.
type difference struct {
	Seq    uint64   `json:"seq"`
	AtMS   int64    `json:"at_ms"`
	Stored []string `json:"stored"`
	Now    []string `json:"now"`
}

// otherPlan is a question that this program's planner answers differently.
type otherPlan struct {
	Seq       uint64        `json:"seq"`
	Collector string        `json:"collector"`
	Question  plan.Question `json:"question"`
	Stored    plan.Answer   `json:"stored"`
	Now       plan.Answer   `json:"now"`
	open      [2]string     // the gates of both
}

// mostTold bounds how many differences are told one by one.
const mostTold = 20

// ok reports whether every step gave the stored effects.
func (r *retold) ok() bool { return len(r.Differs) == 0 }

// retelling plays one run's events through the core again.
type retelling struct {
	retold
	shop    *controller.Shop
	state   controller.State
	step    *journal.Step // the present one
	used    []bool        // of its answers
	told    func(journal.Step)
	effects []controller.Effect
}

// storedPlanner gives the stored answer to a question, and notes where the model's own is another.
type storedPlanner struct {
	plan.Planner
	collector uint8
	t         *retelling
}

// Choose implements plan.Planner.
func (p storedPlanner) Choose(q plan.Question) plan.Answer {
	own := p.Planner.Choose(q)
	for i, a := range p.t.step.Answers {
		var asked plan.Question
		var stored plan.Answer
		if p.t.used[i] || a.Collector != p.collector || json.Unmarshal(a.Question, &asked) != nil || asked != q || json.Unmarshal(a.Answer, &stored) != nil {
			continue
		}
		p.t.used[i] = true
		p.t.Answers++
		if stored != own {
			if p.t.PlansDiffer++; len(p.t.Plans) < mostTold {
				p.t.Plans = append(p.t.Plans, otherPlan{p.t.step.Seq, p.t.shop.Collectors[p.collector].ID, q, stored, own,
					[2]string{p.t.gates(stored), p.t.gates(own)}})
			}
		}
		return stored
	}
	return own
}

// replayJournal plays a run of a journal again: from its beginning or a checkpoint to the next gap, and so on. told
// is given each step that is played; nil: nobody.
func replayJournal(b *journal.Book, run int64, told func(journal.Step)) (*retold, *controller.Shop, error) {
	r, err := b.Run(run)
	if err != nil {
		return nil, nil, err
	}
	t := &retelling{told: told}
	t.Run = r
	if err := t.build(r); err != nil {
		return nil, nil, err
	}
	points, err := b.Checkpoints(r.Number)
	if err != nil {
		return nil, nil, err
	}
	gaps, err := b.Gaps()
	if err != nil {
		return nil, nil, err
	}
	for _, g := range gaps {
		if g.Run == r.Number {
			t.Gaps = append(t.Gaps, g)
		}
	}
	t.Checkpoints = len(points)
	if err := t.play(b, points); err != nil {
		return nil, nil, err
	}
	return &t.retold, t.shop, nil
}

// build makes the shop that the run began with.
func (t *retelling) build(r journal.Run) error {
	file, err := config.Parse(fmt.Sprintf("shop file of run %d", r.Number), bytes.NewReader(r.Shop))
	if err != nil {
		return err
	}
	trees, models, err := compile(file)
	if err != nil {
		return err
	}
	thinkers, err := layPlanners(file, trees, models, false)
	if err != nil {
		return err
	}
	for c := range thinkers {
		thinkers[c] = storedPlanner{thinkers[c], uint8(c), t}
	}
	t.Shop = file.Name
	t.shop, err = file.Core(thinkers)
	return err
}

// play goes through the steps; where some are missing it goes on at the next checkpoint.
func (t *retelling) play(b *journal.Book, points []journal.Checkpoint) error {
	var last uint64
	on := true // the state is that after step last
	for s, err := range b.Steps(t.Number) {
		if err != nil {
			return err
		}
		if s.Seq != last+1 {
			on = false
		}
		last = s.Seq
		if !on || s.Seq == 1 {
			if i := slices.IndexFunc(points, func(c journal.Checkpoint) bool { return c.Seq == s.Seq-1 }); i >= 0 {
				if t.state, err = controller.Revive(t.shop, points[i].State, points[i].At); err != nil {
					return fmt.Errorf("run %d, checkpoint after event %d: %w", t.Number, points[i].Seq, err)
				}
				on = true
			}
		}
		if !on {
			t.Skipped++
			continue
		}
		t.once(s)
	}
	return nil
}

// once plays one step and compares.
func (t *retelling) once(s journal.Step) {
	t.step, t.used = &s, make([]bool, len(s.Answers))
	t.effects = controller.Step(t.shop, &t.state, s.Event, t.effects[:0])
	t.Replayed++
	t.Effects += len(t.effects)
	if !slices.Equal(t.effects, s.Effects) && len(t.Differs) < mostTold {
		t.Differs = append(t.Differs, difference{s.Seq, int64(s.Event.At), spelled(s.Effects), spelled(t.effects)})
	}
	if t.told != nil {
		t.told(s)
	}
}

// gates names those that an answer opens, and what it says of their air.
func (t *retelling) gates(a plan.Answer) string {
	var names []string
	for g := range a.Open.All() {
		if g < len(t.shop.Gates) {
			names = append(names, t.shop.Gates[g].Name)
		}
	}
	return fmt.Sprintf("%s (%v, margin %d/10000)", strings.Join(names, ", "), a.Verdict, a.Margin)
}

// spelled writes effects so that each of their bytes shows.
func spelled(effects []controller.Effect) []string {
	out := make([]string, 0, len(effects))
	for _, e := range effects {
		out = append(out, fmt.Sprintf("%d n=%d why=%d ref=%d v=%d", e.Kind, e.N, e.Why, e.Ref, e.V))
	}
	return out
}

// print says in sentences what was found.
func (r *retold) print(w io.Writer) {
	fmt.Fprintf(w, "%s: run %d of %s, written by version %s\n", r.Shop, r.Number, r.Began.Format("2006-01-02 15:04:05"), r.Version)
	fmt.Fprintf(w, "%d of %d events played again, %d effects, %d stored plans used, %d checkpoints\n", r.Replayed, r.Events, r.Effects, r.Answers, r.Checkpoints)
	for _, g := range r.Gaps {
		if g.From == 0 {
			fmt.Fprintf(w, "gap: %s (%s)\n", g.Wall.Format("2006-01-02 15:04:05"), g.Why)
			continue
		}
		fmt.Fprintf(w, "gap: events %d to %d were not written, %s (%s)\n", g.From, g.To, g.Wall.Format("2006-01-02 15:04:05"), g.Why)
	}
	if r.Skipped > 0 {
		fmt.Fprintf(w, "%d events between a gap and the checkpoint after it could not be played\n", r.Skipped)
	}
	if r.PlansDiffer > 0 {
		fmt.Fprintf(w, "%d stored plans are not this program's: its model or its planner is another; the first of them:\n", r.PlansDiffer)
	}
	for _, p := range r.Plans {
		fmt.Fprintf(w, "  event %d, %s: %s then, %s now\n", p.Seq, p.Collector, p.open[0], p.open[1])
	}
	if r.ok() {
		fmt.Fprintln(w, "every step gave the stored effects, byte for byte")
		return
	}
	fmt.Fprintln(w, "steps with other effects than the stored ones:")
	for _, d := range r.Differs {
		fmt.Fprintf(w, "  event %d at %.3f s: stored %v, now %v\n", d.Seq, float64(d.AtMS)/1000, d.Stored, d.Now)
	}
}

// replayRun is what the verb does with a journal.
func replayRun(path string, run int64, tell, asJSON bool, out io.Writer) error {
	b, err := journal.Read(path)
	if err != nil {
		return err
	}
	defer b.Close()
	var steps []journal.Step
	var told func(journal.Step)
	if tell {
		told = func(s journal.Step) { steps = append(steps, s) }
	}
	r, shop, err := replayJournal(b, run, told)
	if err != nil {
		return err
	}
	if asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		if err := e.Encode(r); err != nil {
			return err
		}
	} else {
		tellSteps(out, words{shop}, steps)
		r.print(out)
	}
	if !r.ok() {
		return errNo
	}
	return nil
}

// tellSteps prints what happened and what it caused, one line an event.
func tellSteps(w io.Writer, names words, steps []journal.Step) {
	for _, s := range steps {
		what, then := names.event(s.Event), ""
		for _, e := range s.Effects {
			if word := names.effect(e); word != "" {
				if then != "" {
					then += ", "
				}
				then += word
				if why := names.shop.Why(e); why != "" {
					then += " (" + why + ")"
				}
			}
		}
		switch {
		case what == "" && then == "":
			continue
		case what != "" && then != "":
			what += ": "
		}
		fmt.Fprintf(w, "%12s  %s%s\n", (time.Duration(s.Event.At) * time.Millisecond).String(), what, then)
	}
}
