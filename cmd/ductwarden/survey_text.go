package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// The tables for people show so many patterns, and so many demands that nobody asked for.
const (
	mostShown  = 32
	mostOthers = 16
	mostNoted  = 4 // places of one kind of note
)

// legend says what the columns mean.
const legend = "margin: slowest air speed over transport speed, less 1; asked: transport speed with its margin; share: air at the port\n" +
	"that gets least of what it wants; sure: in how many of 200 draws of the uncertain coefficients it carries."

func (s *surveyed) speed(v float64) string {
	return config.FormatQuantity(config.Speed, v, s.file.Units)
}

// headline is the answer in a sentence.
func (s *surveyed) headline(demands []treeDemand) string {
	var fail []string
	asked := 0
	for _, d := range demands {
		if !d.Asked {
			continue
		}
		asked++
		if d.Decisive().Verdict.Grade != airflow.Carries {
			fail = append(fail, strings.Join(s.machines(d.Machines), " + "))
		}
	}
	switch {
	case asked == 0:
		return "there is no machine to judge"
	case len(fail) == 0:
		return fmt.Sprintf("the air carries, for all %d demands that must carry, with the filter loaded", asked)
	}
	return fmt.Sprintf("the air does not carry for %d of the %d demands that must carry, with the filter loaded: %s", len(fail), asked, strings.Join(fail, "; "))
}

// write is the survey for people.
func (s *surveyed) write(w io.Writer, found surveyFound) error {
	if len(s.trees) == 0 {
		return s.writeNotJudged(w)
	}
	fmt.Fprintf(w, "%s: %s\n", s.file.Name, s.headline(found.demands))
	for _, said := range s.file.NotJudged() {
		fmt.Fprintln(w, said)
	}
	for _, t := range s.trees {
		if n := t.model.Network(); n.Fan.Guess {
			fmt.Fprintf(w, "The fan curve of %s is a guess from two numbers: every figure here is only as good as that.\n", n.Name)
		}
	}
	if s.file.Fitted != nil {
		fmt.Fprintf(w, "With the numbers fitted to the readings of %s (%s).\n", s.file.Fitted.Measured, config.FittedName)
	}
	if err := s.writeDemands(w, found); err != nil {
		return err
	}
	if err := s.writePatterns(w, s.listed(found.demands), mostShown); err != nil {
		return err
	}
	s.writeEvery(w, found.every)
	s.writeMakeUp(w, found.makeUp)
	s.writeNotes(w, found)
	return nil
}

func (s *surveyed) writeNotJudged(w io.Writer) error {
	fmt.Fprintf(w, "%s: the air is not judged\n", s.file.Name)
	for _, said := range s.file.NotJudged() {
		fmt.Fprintln(w, said)
	}
	return nil
}

// writeDemands lists the demands, worst first, and why those that do not carry do not: first what must carry,
// then what else may run together.
func (s *surveyed) writeDemands(w io.Writer, found surveyFound) error {
	var asked, others []treeDemand
	for _, d := range sorted(found.demands) {
		if d.Asked {
			asked = append(asked, d)
		} else {
			others = append(others, d)
		}
	}
	fmt.Fprintf(w, "\nDemands: each machine alone, and what must run together. Worst first; filter loaded, gates moved by hand shut.\n\n")
	if err := s.demandTable(w, asked); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%s\n", legend)
	s.writeFailing(w, asked, found.counsel)
	if len(others) == 0 {
		return nil
	}
	// Of what nobody asked for, what carries and what nearly does is of use.
	slices.Reverse(others)
	var carry, fail []treeDemand
	var well []string
	for _, d := range others {
		if d.Decisive().Verdict.Grade == airflow.Carries {
			carry = append(carry, d)
			well = append(well, strings.Join(s.machines(d.Machines), " + "))
		} else {
			fail = append(fail, d)
		}
	}
	fmt.Fprintf(w, "\nOther sets that could run at once: %d of %d carry. Best first.\n\n", len(carry), len(others))
	shown := slices.Concat(carry[:min(len(carry), mostOthers)], fail[:min(len(fail), mostOthers)])
	if err := s.demandTable(w, shown); err != nil {
		return err
	}
	if left := len(others) - len(shown); left > 0 {
		fmt.Fprintf(w, "and %d more; --json lists every one\n", left)
	}
	if len(well) > 0 {
		fmt.Fprintf(w, "\nThese run well together: %s.\n", strings.Join(well, "; "))
	}
	if found.counsel.whole {
		s.writeFailing(w, fail, found.counsel)
	} else {
		s.writeBest(w, found.counsel, fail[:min(len(fail), mostOthers)])
	}
	if most := s.mendsMost(found.counsel); most != "" {
		fmt.Fprintf(w, "\n%s\n", most)
	}
	return nil
}

func (s *surveyed) demandTable(w io.Writer, list []treeDemand) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "machines\tgates opened\tair\tmargin\tslowest duct\tspeed\tasked\tshare\tsure\tclean filter")
	byHand := slices.ContainsFunc(list, func(d treeDemand) bool { return d.Theft >= 0 })
	if byHand {
		fmt.Fprint(t, "\thand gate left open")
	}
	fmt.Fprintln(t)
	for _, d := range list {
		c := d.Decisive()
		duct, at, asked := s.slowest(d.tree, c.Open, c.State, c.Verdict)
		mark := ""
		if d.Asked && d.Machines.Len() > 1 {
			mark = " (together)"
		}
		fmt.Fprintf(t, "%s%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s", strings.Join(s.machines(d.Machines), " + "), mark, s.opened(c.Open), c.Verdict.Grade,
			inPercent(c.Verdict.Margin, true), duct, at, asked, inPercent(c.Verdict.Share, false), surely(c.Sure), brief(d.Clean().Verdict))
		if d.Theft >= 0 {
			thief := &d.Cases[d.Theft]
			fmt.Fprintf(t, "\t%s: %s", strings.Join(s.names(thief.Open&^c.Open), ", "), brief(thief.Verdict))
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}

// sorted orders demands with the worst first, over all trees.
func sorted(demands []treeDemand) []treeDemand {
	plain := make([]airflow.Demand, len(demands))
	for i := range demands {
		plain[i] = demands[i].Demand
	}
	out := make([]treeDemand, 0, len(demands))
	for _, p := range airflow.WorstFirst(plain) {
		for i := range plain {
			if &plain[i] == p {
				out = append(out, demands[i])
			}
		}
	}
	return out
}

// slowest names the weakest duct of a verdict with its speed and what is asked of it.
func (s *surveyed) slowest(t *airTree, open gates.Set, state airflow.State, v airflow.Verdict) (duct, at, asked string) {
	if v.Weakest == airflow.NoDuct {
		return "-", "-", "-"
	}
	r := t.solver.Solve(open, state)
	tr := t.model.Transport(int(v.Weakest))
	return t.model.Network().Ducts[v.Weakest].Name, s.speed(r.Velocity[v.Weakest]), s.speed(tr.Carries * (1 + tr.Margin))
}

// why says in a sentence what fails, where, by how much, and what would help.
func (s *surveyed) why(d treeDemand) string {
	c := d.Decisive()
	q := d.tree.question(d.Machines, c.State)
	a := d.tree.planner.Choose(q)
	if p, ok := d.tree.planner.(*plan.Tree); ok {
		if said := p.Explain(q, a, s.speed); said != "" {
			return said
		}
	}
	duct, at, asked := s.slowest(d.tree, c.Open, c.State, c.Verdict)
	said := fmt.Sprintf("%s: %s moves %s of air and %s is asked, so chips %s there", strings.Join(s.machines(d.Machines), " + "), duct, at, asked,
		map[airflow.Grade]string{airflow.Creeps: "creep", airflow.Settles: "settle"}[c.Verdict.Grade])
	if a.Mend != plan.NoMachine {
		said += fmt.Sprintf("; without %s the rest carries", s.file.Machines[a.Mend].Name)
	}
	return said
}

// writePatterns lists patterns, worst first; with most > 0 those with the filter loaded, and if they are more than so
// many, the best of them: of many patterns the worst are all alike.
func (s *surveyed) writePatterns(w io.Writer, rows []treePattern, most int) error {
	if len(s.trees) == 0 {
		return s.writeNotJudged(w)
	}
	type judged struct {
		treePattern
		verdict airflow.Verdict
	}
	var list []judged
	tally := map[airflow.Grade]int{}
	for _, p := range rows {
		if most > 0 && p.state != airflow.Loaded {
			continue
		}
		v := p.tree.solver.JudgeAs(p.open, p.tree.model.Demanded(p.open), p.state)
		tally[v.Grade]++
		if most == 0 || v.Grade != airflow.NotJudged {
			list = append(list, judged{p, v})
		}
	}
	if most > 0 {
		slices.SortStableFunc(list, func(a, b judged) int {
			switch {
			case airflow.Worse(a.verdict, b.verdict):
				return -1
			case airflow.Worse(b.verdict, a.verdict):
				return 1
			}
			return 0
		})
		order := "Worst first"
		if len(list) > most {
			order = fmt.Sprintf("The best %d", most)
			slices.Reverse(list)
		}
		fmt.Fprintf(w, "\nPatterns: every open gate counts as demanded. %d carry, %d creep, %d settle. %s; filter loaded.\n\n",
			tally[airflow.Carries], tally[airflow.Creeps], tally[airflow.Settles], order)
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "open\tfilter\tair\tmargin\tslowest duct\tspeed\tfan flow\tfan pressure\tshare\tsure")
	left := 0
	for k, p := range list {
		if most > 0 && k >= most {
			left++
			continue
		}
		fmt.Fprintln(t, strings.Join(append(s.patternCells(p.treePattern), surely(p.tree.sure(p.treePattern))), "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if left > 0 {
		fmt.Fprintf(w, "and %d worse; --patterns all writes every one\n", left)
	}
	return nil
}

// patternLine is one pattern on a line.
func (s *surveyed) patternLine(p treePattern) string { return strings.Join(s.patternCells(p), "  ") }

func (s *surveyed) patternCells(p treePattern) []string {
	demand := p.tree.model.Demanded(p.open)
	v := p.tree.solver.JudgeAs(p.open, demand, p.state)
	r := p.tree.solver.Solve(p.open, p.state)
	duct, at := "-", "-"
	if v.Weakest != airflow.NoDuct {
		duct, at = p.tree.model.Network().Ducts[v.Weakest].Name, s.speed(r.Velocity[v.Weakest])
	}
	return []string{
		s.opened(p.open), p.state.String(), gradeWord(v.Grade), inPercent(v.Margin, true), duct, at,
		s.flow(r.FanFlow), s.pressure(r.FanPressure), inPercent(v.Share, false),
	}
}

// brief is a verdict in two words.
func brief(v airflow.Verdict) string { return v.Grade.String() + " " + inPercent(v.Margin, true) }

func gradeWord(g airflow.Grade) string {
	if g == airflow.NotJudged {
		return "-"
	}
	return g.String()
}

func (s *surveyed) opened(open gates.Set) string {
	if open.Empty() {
		return "none"
	}
	return strings.Join(s.names(open), ", ")
}

// inPercent writes a ratio in percent, "-" where it is undefined: a margin with its sign and a tenth, a share
// whole.
func inPercent(r airflow.Ratio, signed bool) string {
	f := r.Float()
	switch {
	case math.IsNaN(f):
		return "-"
	case signed:
		return fmt.Sprintf("%+.1f %%", f*100)
	}
	return fmt.Sprintf("%.0f %%", f*100)
}

// surely says in how many of the draws a demand carries.
func surely(r airflow.Ratio) string {
	f := r.Float()
	if math.IsNaN(f) {
		return "-"
	}
	n := int(math.Round(f * airflow.Draws))
	switch {
	case n == airflow.Draws:
		return "in all"
	case n == 0:
		return "in none"
	case 2*n > airflow.Draws:
		return fmt.Sprintf("in most (%d)", n)
	}
	return fmt.Sprintf("in few (%d)", n)
}

// writeNotes tells what decides nothing but is worth knowing, of each kind the places where it is most so.
func (s *surveyed) writeNotes(w io.Writer, found surveyFound) {
	title := "\nWorth knowing:\n"
	say := func(text string) {
		fmt.Fprintf(w, "%s  %s\n", title, text)
		title = ""
	}
	notes := s.notes(found)
	for from := 0; from < len(notes); {
		to := from
		for to < len(notes) && notes[to].kind == notes[from].kind {
			to++
		}
		worst := slices.Clone(notes[from:to])
		slices.SortStableFunc(worst, func(a, b note) int { return cmp.Compare(b.over, a.over) })
		shown := min(len(worst), mostNoted)
		if len(worst) == mostNoted+1 {
			shown++ // saying that one is left out takes as much room
		}
		for _, n := range worst[:shown] {
			say(n.text)
		}
		if left := len(worst) - shown; left > 0 {
			say(fmt.Sprintf("and %d more places of that kind; --report lists every one", left))
		}
		from = to
	}
}

// note is a sentence worth knowing; over is by how much a bound is passed, as a factor.
type note struct {
	kind airflow.NoteKind
	over float64
	text string
}

// noFault is the kind of notes that are about no place.
const noFault airflow.NoteKind = 255

// notes are all of them, by kind.
func (s *surveyed) notes(found surveyFound) []note {
	demands := found.demands
	var notes []note
	// Of each thing only the demand in which it is most so.
	type about struct {
		tree  *airTree
		kind  airflow.NoteKind
		place int
	}
	most := map[about]int{}
	var order []about
	at := func(i int, a about) *airflow.Note {
		for k := range demands[i].Notes {
			if x := &demands[i].Notes[k]; x.Kind == a.kind && x.Place == a.place {
				return x
			}
		}
		return nil
	}
	for i, d := range demands {
		for _, x := range d.Notes {
			a := about{d.tree, x.Kind, x.Place}
			was, known := most[a]
			if !known {
				order = append(order, a)
			}
			if !known || x.Kind != airflow.TooLittle && x.Value > at(was, a).Value || x.Kind == airflow.TooLittle && x.Value < at(was, a).Value {
				most[a] = i
			}
		}
	}
	slices.SortStableFunc(order, func(a, b about) int { return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.place, b.place)) })
	for _, a := range order {
		d := demands[most[a]]
		x, n := at(most[a], a), a.tree.model.Network()
		who := strings.Join(s.machines(d.Machines), " + ")
		say := func(format string, args ...any) {
			over := x.Value / x.Limit
			if a.kind == airflow.TooLittle {
				over = x.Limit / x.Value
			}
			notes = append(notes, note{a.kind, over, fmt.Sprintf(format, args...)})
		}
		switch a.kind {
		case airflow.TooFast:
			say("%s: up to %s with a clean filter (%s), above %s: noise and wear (DGUV 209-044)", n.Ducts[x.Place].Name, s.speed(x.Value), who, s.speed(x.Limit))
		case airflow.TooStrong:
			say("port %s: up to %s of suction with a clean filter (%s), above %s (DGUV 209-044)", n.Ports[x.Place].Name, s.pressure(x.Value), who, s.pressure(x.Limit))
		case airflow.Overloaded:
			say("the motor takes up to %s (%s) and is rated for %s", s.power(x.Value), who, s.power(x.Limit))
		case airflow.TooLittle:
			say("the fan moves as little as %s (%s); its sheet states %s at least", s.flow(x.Value), who, s.flow(x.Limit))
		case airflow.OffSheet:
			say("the fan moves up to %s (%s), beyond the last point of its curve at %s: there the curve is drawn on", s.flow(x.Value), who, s.flow(x.Limit))
		}
	}
	if found.counsel.fanAdvised() {
		notes = append(notes, note{kind: noFault, text: fanCaution})
	}
	return notes
}

func (s *surveyed) flow(v float64) string { return config.FormatQuantity(config.Flow, v, s.file.Units) }
func (s *surveyed) pressure(v float64) string {
	return config.FormatQuantity(config.Pressure, v, s.file.Units)
}
func (s *surveyed) power(v float64) string {
	return config.FormatQuantity(config.Power, v, s.file.Units)
}
