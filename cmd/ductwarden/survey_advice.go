package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/advice"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// mostAdvised is for how many demands that nobody asked for the survey works out what would mend them.
const mostAdvised = 24

// adviceShop is one collector as the advice sees it.
func (s *surveyed) adviceShop(t *airTree) advice.Shop {
	out := advice.Shop{Network: t.tree.Network, Machines: t.tree.Machines, Options: planOptions(s.file), Gates: len(s.file.Gates), Inches: s.file.Units == config.US}
	for _, set := range s.file.Together {
		out.Together = append(out.Together, gates.Of(set...))
	}
	for _, d := range t.tree.Ducts {
		out.Pipes = append(out.Pipes, s.file.Ducts[d].Pipe)
	}
	return out
}

// advisor is made when it is first asked for: it judges every demand once more.
func (t *airTree) advisor(s *surveyed) (*advice.Advisor, error) {
	if t.advice == nil {
		a, err := advice.New(s.adviceShop(t))
		if err != nil {
			return nil, err
		}
		t.advice = a
	}
	return t.advice, nil
}

// counsel is what would mend the demands of a shop.
type counsel struct {
	list  []treeAdvice
	whole bool // of every failing demand, also of those that nobody asked for
	left  int  // of those, demands that were not looked at
}

// treeAdvice is a piece of advice on one collector's ducts.
type treeAdvice struct {
	advice.Advice
	tree     *airTree
	machines gates.Set
}

// advise works out what would mend each failing demand. which is all, none, or "" for those asked for and some of
// the others.
func (s *surveyed) advise(ctx context.Context, which string, p *progress) (counsel, error) {
	out := counsel{whole: which == "all"}
	if which == "none" {
		return out, nil
	}
	for _, t := range s.trees {
		a, err := t.advisor(s)
		if err != nil {
			return out, err
		}
		failing := a.Failing()
		others := 0
		for k, c := range failing {
			if ctx.Err() != nil {
				return out, errors.New("stopped before the last demand")
			}
			if !c.Asked {
				if others++; others > mostAdvised && !out.whole {
					out.left++
					continue
				}
			}
			p.say("looking for what would mend %s: %d of %d", strings.Join(s.machines(c.Machines), " + "), k+1, len(failing))
			out.list = append(out.list, treeAdvice{a.For(c), t, c.Machines})
		}
	}
	p.done()
	return out, nil
}

// of finds the advice on a demand.
func (c *counsel) of(d treeDemand) (*treeAdvice, bool) {
	for i := range c.list {
		if a := &c.list[i]; a.tree == d.tree && a.machines == d.Machines {
			return a, true
		}
	}
	return nil, false
}

// adviceUnits write figures as the person counts.
func (s *surveyed) adviceUnits() advice.Units {
	in := func(kind config.Kind) func(float64) string {
		return func(v float64) string { return config.FormatQuantity(kind, v, s.file.Units) }
	}
	return advice.Units{Speed: in(config.Speed), Flow: in(config.Flow), Pressure: in(config.Pressure), Length: in(config.Length), Power: in(config.Power)}
}

// writeFailing says of each demand that does not carry, or gets too little air, why and what would mend it, and of
// each that a hand gate spoils by which.
func (s *surveyed) writeFailing(w io.Writer, list []treeDemand, c counsel) {
	u := s.adviceUnits()
	var lines, mind []string
	advised := false
	for _, d := range list {
		a, ok := c.of(d)
		fails := d.Decisive().Verdict.Grade != airflow.Carries
		var why string
		switch {
		case fails:
			why = s.why(d)
		case ok && a.Lacks == "air":
			why = fmt.Sprintf("carries, but gives a port only %s of the air that it wants", inPercent(d.Decisive().Verdict.Share, false))
		case d.Theft >= 0 && d.Cases[d.Theft].Verdict.Grade != airflow.Carries:
			hand := d.Cases[d.Theft].Open &^ d.Decisive().Open
			mind = append(mind, fmt.Sprintf("%s: carries as long as %s is shut", strings.Join(s.machines(d.Machines), " + "), strings.Join(s.names(hand), ", ")))
			continue
		default:
			continue
		}
		lines = append(lines, strings.Join(s.machines(d.Machines), " + "), "  why: "+why)
		if !ok {
			continue
		}
		advised = true
		for _, r := range a.Remedies {
			line := "  mend: " + r.Say(u)
			if costs := r.Costs(); costs != "" {
				line += "; " + costs
			}
			lines = append(lines, line)
		}
		if len(a.Remedies) == 0 {
			lines = append(lines, "  "+a.None(u))
		}
	}
	title := "What fails, and why"
	if advised {
		title = "What fails, why, and what would mend it (each worked out anew for the whole shop)"
	}
	section(w, title, lines)
	section(w, "Mind the gates moved by hand", mind)
}

// section writes lines under a title; nothing where there are none.
func section(w io.Writer, title string, lines []string) {
	for k, line := range lines {
		if k == 0 {
			fmt.Fprintf(w, "\n%s:\n", title)
		}
		fmt.Fprintf(w, "  %s\n", line)
	}
}

// writeBest lists the best remedy of each set that nobody asked for. Those that only a stronger fan mends share a
// line.
func (s *surveyed) writeBest(w io.Writer, c counsel, shown []treeDemand) {
	u := s.adviceUnits()
	var lines, fans, none []string
	for _, d := range shown {
		a, ok := c.of(d)
		if !ok {
			continue
		}
		who := strings.Join(s.machines(d.Machines), " + ")
		switch best := a.Best(); {
		case best == nil:
			none = append(none, who)
		case best.Kind == advice.Fan:
			fans = append(fans, fmt.Sprintf("%s (%.2f times the speed)", who, best.Fan.Faster))
		default:
			lines = append(lines, who+": "+best.Brief(u))
		}
	}
	if len(fans) > 0 {
		lines = append(lines, "a stronger fan, for "+strings.Join(fans, ", "))
	}
	if len(none) > 0 {
		lines = append(lines, "nothing that was tried, for "+strings.Join(none, ", "))
	}
	section(w, "What would mend them, the best of each (--advice all says more, of every set)", lines)
}

// fanCaution is said where a faster fan is among the advice. Source of the cube: the fan laws, as in
// airflow.FanLaws.
const fanCaution = "a fan's wheel must not turn faster than its maker rates it for, whatever the advice; the motor's power goes with the cube of the speed (fan laws), " +
	"so that a tenth more speed wants a third more power. Ask the maker before you change a pulley or a drive's frequency"

// fanAdvised reports whether a faster fan is among the advice.
func (c *counsel) fanAdvised() bool {
	for i := range c.list {
		for _, r := range c.list[i].Remedies {
			if r.Kind == advice.Fan {
				return true
			}
		}
	}
	return false
}

// mendsMost says which one change mends most.
func (s *surveyed) mendsMost(c counsel) string {
	var said []string
	for _, t := range s.trees {
		var mine []advice.Advice
		for _, a := range c.list {
			if a.tree == t {
				mine = append(mine, a.Advice)
			}
		}
		r, mended, ok := advice.MendsMost(mine)
		if !ok {
			continue
		}
		var who []string
		for _, e := range mended[:min(len(mended), 4)] {
			who = append(who, strings.Join(e.Machines, " + "))
		}
		if left := len(mended) - 4; left > 0 {
			who = append(who, fmt.Sprintf("%d more", left))
		}
		said = append(said, fmt.Sprintf("One change mends %d and spoils none: %s. Mended: %s.", len(mended), r.What(s.adviceUnits()), strings.Join(who, "; ")))
	}
	return strings.Join(said, "\n")
}

// adviceRow is a piece of advice as --json writes it.
type adviceRow struct {
	Collector string `json:"collector,omitempty"`
	advice.Advice
}

// planOptions are the rules of choice of a shop file.
func planOptions(file *config.Shop) plan.Options {
	return plan.Options{
		Clearing:       plan.Ratio(file.Limits.ClearingFactor*10000 + 0.5),
		EverythingOpen: file.Way == config.EverythingOpen,
	}
}
