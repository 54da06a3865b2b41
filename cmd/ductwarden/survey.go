package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/advice"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// mostListed is up to how many gates the survey lists every pattern.
const mostListed = 10

// surveyVerb judges the air of a shop: every demand and every pattern of open gates.
func surveyVerb() *cobra.Command {
	var o surveyOptions
	c := &cobra.Command{
		Use:   "survey FILE [NEW]",
		Short: "Judge whether the air carries the chips, for every demand and every pattern of gates",
		Long: "Solves the ducts, the fan and the filter of a shop file for every demand (each machine alone, every pair, the sets\n" +
			"under `together`) with the gates that the program would open for it, and for every pattern of open gates: clean\n" +
			"filter and loaded, gates moved by hand open and shut. Each is judged three ways: do the ducts on the way carry\n" +
			"the chips, does each port get the air that it wants, and in how many of 200 draws of the uncertain coefficients\n" +
			"does it still carry. Of what must carry the worst comes first, and below it why it fails and what would mend it: a\n" +
			"hose, a relief gate, other standard sizes, the filter, the fan, each worked out anew for the whole shop, with what\n" +
			"it spoils elsewhere. Of other sets that could run at once, those that carry or nearly do come first.\n" +
			"Nothing is opened or moved.\n\n" +
			"With two files it shows what the second changes, demand by demand. --report writes one page to keep or print.\n\n" +
			"Exit code 1: a single machine, or a set under `together`, does not carry with the filter loaded. 0: all of them do,\n" +
			"or the air is not judged because the file has no ducts or no fan. With two files the second decides.",
		Example: "  ductwarden survey shop.yaml\n  ductwarden survey shop.yaml --open \"planer,sweep\" --open lathe\n" +
			"  ductwarden survey shop.yaml with-planer.yaml\n  ductwarden survey shop.yaml --report air.html\n" +
			"  ductwarden survey shop.yaml --outside \"-5 °C\"\n  ductwarden survey shop.yaml --json\n" +
			"  ductwarden survey shop.yaml --patterns all\n  ductwarden survey shop.yaml --patterns carrying\n  ductwarden survey shop.yaml --sources",
		Args: cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			o.given = c.Flags().Changed("open")
			if err := o.check(len(args)); err != nil {
				return usageError{err}
			}
			o.progress = progressOn(c.ErrOrStderr())
			if len(args) == 2 {
				return surveyTwo(args[0], args[1], o, c.OutOrStdout())
			}
			return survey(c.Context(), args[0], o, c.OutOrStdout())
		},
	}
	f := c.Flags()
	f.BoolVar(&o.asJSON, "json", false, "as JSON, SI units")
	f.StringArrayVar(&o.open, "open", nil, "judge just this pattern: open gates, with commas between (repeatable; \"\" is none)")
	f.StringVar(&o.patterns, "patterns", "", "all: every pattern of gates, a line each, as it is solved; carrying: only those that carry with the filter loaded")
	f.BoolVar(&o.sources, "sources", false, "show the figures that were used and where they come from")
	f.StringVar(&o.advice, "advice", "", "all: what would mend every failing set, however many; none: leave it out")
	f.StringVar(&o.report, "report", "", "write one page for a screen or paper to this file")
	f.StringVar(&o.outside, "outside", "", "how cold it is outside, for a collector that blows outdoors: \"-5 °C\"")
	return c
}

type surveyOptions struct {
	asJSON, sources, given            bool
	open                              []string
	patterns, advice, report, outside string

	cold     *float64 // K, of outside
	progress *progress
}

// check says what does not go together.
func (o *surveyOptions) check(files int) error {
	if o.patterns != "" && o.patterns != "all" && o.patterns != "carrying" {
		return fmt.Errorf("--patterns %q is not known; say --patterns all or --patterns carrying", o.patterns)
	}
	if o.advice != "" && o.advice != "all" && o.advice != "none" {
		return fmt.Errorf("--advice %q is not known; say --advice all or --advice none", o.advice)
	}
	if o.outside != "" {
		k, err := config.ParseQuantity(config.Temperature, o.outside)
		if err != nil {
			return fmt.Errorf("--outside: %w", err)
		}
		o.cold = &k
	}
	if files == 2 && (o.given || o.patterns != "" || o.sources || o.report != "" || o.outside != "") {
		return errors.New("two files are compared demand by demand; --open, --patterns, --sources, --report and --outside take one file")
	}
	return nil
}

// airTree is one collector's ducts, ready to be asked.
type airTree struct {
	tree    config.Tree
	model   *airflow.Model
	solver  *airflow.Solver
	planner plan.Planner
	sensor  bool // a filter sensor tells the state
	advice  *advice.Advisor
	doubt   *airflow.Doubt
}

// sure is the share of draws in which a pattern carries, every open gate counting as demanded.
func (t *airTree) sure(p treePattern) airflow.Ratio {
	return t.doubts().SureAs(p.open, t.model.Demanded(p.open), p.state)
}

// doubts are the draws of the uncertain coefficients, made when they are first asked for.
func (t *airTree) doubts() *airflow.Doubt {
	if t.doubt == nil {
		t.doubt = airflow.NewDoubt(t.model)
	}
	return t.doubt
}

// surveyed is a whole shop, ready to be asked.
type surveyed struct {
	file  *config.Shop
	trees []*airTree // those whose air is judged
	many  bool       // more than one collector: rows say which
}

func survey(ctx context.Context, path string, o surveyOptions, w io.Writer) error {
	file, err := config.Load(path)
	if err != nil {
		return err
	}
	s, err := newSurvey(file)
	if err != nil {
		return err
	}
	switch {
	case o.sources:
		return s.writeSources(w, o.asJSON)
	case o.patterns == "all":
		return s.stream(ctx, w, o)
	case o.patterns == "carrying":
		return s.carrying(ctx, w, o.asJSON, o.progress)
	case o.given:
		rows, err := s.named(o.open)
		if err != nil {
			return usageError{err}
		}
		if o.asJSON {
			return s.writeJSON(w, rows, surveyFound{})
		}
		return s.writePatterns(w, rows, 0)
	}
	found, err := s.look(ctx, o)
	if err != nil {
		return err
	}
	switch {
	case o.report != "":
		err = s.writeReport(o.report, found)
		if err == nil && !o.asJSON {
			_, err = fmt.Fprintf(w, "%s: %s\nThe page is in %s; open it in a browser, or print it there.\n", s.file.Name, s.headline(found.demands), o.report)
		}
		if err != nil || !o.asJSON {
			break
		}
		fallthrough
	case o.asJSON:
		err = s.writeJSON(w, s.listed(found.demands), found)
	default:
		err = s.write(w, found)
	}
	if err != nil {
		return err
	}
	return s.answer(found.demands)
}

// surveyFound is what a survey found.
type surveyFound struct {
	demands []treeDemand
	counsel counsel
	makeUp  []advice.MakeUp
	every   []everyPattern
}

// look judges every demand and works out what would mend those that fail. On a large shop it takes seconds.
func (s *surveyed) look(ctx context.Context, o surveyOptions) (surveyFound, error) {
	found := surveyFound{demands: s.demands(o.progress)}
	var err error
	if found.counsel, err = s.advise(ctx, o.advice, o.progress); err != nil {
		return surveyFound{}, err
	}
	found.makeUp = s.makeUp(found.demands, o.cold)
	if !o.asJSON {
		found.every, err = s.everyOf(ctx, o.progress)
	}
	return found, err
}

// answer is no when a single machine or a named set does not carry.
func (s *surveyed) answer(demands []treeDemand) error {
	for _, d := range demands {
		if d.Asked && d.Decisive().Verdict.Grade != airflow.Carries {
			return errNo
		}
	}
	return nil
}

func newSurvey(file *config.Shop) (*surveyed, error) {
	trees, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	planners, err := layPlanners(file, trees, models, false)
	if err != nil {
		return nil, err
	}
	s := &surveyed{file: file, many: len(trees) > 1}
	for c := range trees {
		if models[c] == nil || !models[c].Judged() {
			continue
		}
		t := &airTree{tree: trees[c], model: models[c], solver: airflow.NewSolver(models[c]), planner: planners[c]}
		if c < len(file.Collectors) && file.Collectors[c].Filter != nil {
			t.sensor = file.Collectors[c].Filter.Sensor != nil
		}
		s.trees = append(s.trees, t)
	}
	return s, nil
}

// choose is the pattern that the program would open for machines with the filter in a state. Without a filter
// sensor it plans for a loaded one.
func (t *airTree) choose(machines gates.Set, state airflow.State) gates.Set {
	return t.planner.Choose(t.question(machines, state)).Open
}

func (t *airTree) question(machines gates.Set, state airflow.State) plan.Question {
	return plan.Question{
		Running: machines,
		Usable:  t.model.Gates() &^ t.model.Hand(),
		Loaded:  state == airflow.Loaded || !t.sensor,
	}
}

// treeDemand is a demand on one collector's tree.
type treeDemand struct {
	airflow.Demand
	tree *airTree
}

// demands judges which machines may run together.
func (s *surveyed) demands(p *progress) []treeDemand {
	var out []treeDemand
	for _, t := range s.trees {
		var members []airflow.Member
		for _, m := range t.tree.Machines {
			members = append(members, airflow.Member{Number: m.Number, Ports: m.Ports})
		}
		var together []gates.Set
		for _, set := range s.file.Together {
			together = append(together, gates.Of(set...))
		}
		crews := airflow.Crews(members, together)
		for k := range crews {
			p.say("judging demands: %d of %d", k+1, len(crews))
			out = append(out, treeDemand{airflow.Survey(t.solver, t.doubts(), crews[k:k+1], t.choose)[0], t})
		}
	}
	p.done()
	return out
}

// treePattern is a pattern of one collector's gates in one filter state.
type treePattern struct {
	tree  *airTree
	open  gates.Set
	state airflow.State
}

// listed is every pattern while a tree has few gates, else those that the demands use.
func (s *surveyed) listed(demands []treeDemand) []treePattern {
	var out []treePattern
	for _, t := range s.trees {
		if t.model.Gates().Len() <= mostListed {
			for open := range t.patterns() {
				out = append(out, treePattern{t, open, airflow.Clean}, treePattern{t, open, airflow.Loaded})
			}
			continue
		}
		seen := map[gates.Set]bool{}
		for _, d := range demands {
			for _, k := range d.Cases {
				if d.tree == t && !seen[k.Open] {
					seen[k.Open] = true
					out = append(out, treePattern{t, k.Open, airflow.Clean}, treePattern{t, k.Open, airflow.Loaded})
				}
			}
		}
	}
	return out
}

// patterns yields every pattern of a tree's gates, hand gates included, in counting order of the gates.
func (t *airTree) patterns() func(func(gates.Set) bool) {
	return func(yield func(gates.Set) bool) {
		all := t.model.Gates()
		for open := gates.Set(0); ; open = (open - all) & all {
			if !yield(open) || open == all {
				return
			}
		}
	}
}

// named reads the patterns of --open. A gate may be given by its name or its id.
func (s *surveyed) named(texts []string) ([]treePattern, error) {
	var out []treePattern
	for _, text := range texts {
		var open gates.Set
		for _, name := range strings.Split(text, ",") {
			if name = strings.TrimSpace(name); name == "" {
				continue
			}
			i, err := s.gate(name)
			if err != nil {
				return nil, err
			}
			open = open.With(i)
		}
		for _, t := range s.trees {
			if mine := open & t.model.Gates(); mine != 0 || open == 0 {
				out = append(out, treePattern{t, mine, airflow.Clean}, treePattern{t, mine, airflow.Loaded})
			}
		}
	}
	return out, nil
}

func (s *surveyed) gate(name string) (int, error) {
	var known []string
	for i, g := range s.file.Gates {
		if g.Name == name || g.ID == name {
			return i, nil
		}
		known = append(known, g.Name)
	}
	return 0, fmt.Errorf("--open: there is no gate %q; the gates are %s", name, strings.Join(known, ", "))
}

// stream judges every pattern and writes each as it is solved.
func (s *surveyed) stream(ctx context.Context, w io.Writer, o surveyOptions) error {
	if len(s.trees) == 0 {
		return s.writeNotJudged(w)
	}
	out := newLines(w)
	if isTerminal(w) {
		o.progress = nil // the lines themselves show it
	}
	defer o.progress.done()
	for _, t := range s.trees {
		n, all := 0, 1<<t.model.Gates().Len()
		for open := range t.patterns() {
			if n++; n%256 == 0 {
				o.progress.say("pattern %d of %d", n, all)
			}
			if ctx.Err() != nil {
				return errors.Join(out.Flush(), errors.New("stopped before the last pattern"))
			}
			for _, state := range []airflow.State{airflow.Clean, airflow.Loaded} {
				p := treePattern{t, open, state}
				if o.asJSON {
					out.json(s.patternRow(p))
				} else {
					out.text(s.patternLine(p))
				}
			}
			if out.err != nil {
				return out.err
			}
		}
	}
	return out.Flush()
}

// names lists the gates of a set, and says "none" of an empty one.
func (s *surveyed) names(open gates.Set) []string {
	out := []string{}
	for i := range open.All() {
		out = append(out, s.file.Gates[i].Name)
	}
	return out
}

func (s *surveyed) machines(set gates.Set) []string {
	out := []string{}
	for i := range set.All() {
		out = append(out, s.file.Machines[i].Name)
	}
	return out
}
